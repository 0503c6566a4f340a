// tn::Port of an ESP8266 board.
#ifndef TN_ESP8266_CHIP_PORT_H
#define TN_ESP8266_CHIP_PORT_H

#include "../../core/node_block.h"
#include "../../core/port.h"
#include "announcer.h"
#include "core_names.h"
#include "tcp_server.h"

namespace tn {

struct ChipPort {
  TcpServer server;
  Announcer announcer;
  core::RadioTraits traits;
  bool heard;    // the neighbours hear of us now and then; not while there was no memory for the timer
  bool console;  // the serial line's pins are no probe's and no relay's
  Port port;
};

// Why this start came. The chip cannot tell a brown-out from a power-on.
Reset chip_reset();

// Fills in the port, puts the radio on (without it there are no true random numbers) and listens.
void start_chip_port(ChipPort *chip, const NodeBlock &block);

}  // namespace tn

#endif
