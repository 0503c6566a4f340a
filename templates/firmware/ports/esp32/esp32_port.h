// tn::Port of the ESP32 family: ESP32, S2, S3 and C3.
#ifndef TN_ESP32_PORT_H
#define TN_ESP32_PORT_H

#include "../../core/node_block.h"
#include "../../core/port.h"
#include "announce.h"
#include "flash_map.h"
#include "radio.h"
#include "tcp_server.h"

namespace tn {

constexpr uint32_t kWatchdogSeconds = 8;  // above the worst that one turn takes: a sector's erase, 0.5 s, and a signature's check

struct Esp32Port {
  FlashMap map;
  TcpServer server;
  Announcer announcer;
  Radio radio;
  Port port;
};

// Starts watchdog, console, flash and network; the port is good in any case, also with a damaged block. No console where a probe
// or a relay has one of its pins.
void start_esp32_port(Esp32Port *esp32, const NodeBlock &block);

}  // namespace tn

#endif
