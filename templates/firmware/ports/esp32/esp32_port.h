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
// A dry probe's pin must rise to 0.75 of the supply through 45 kOhm (data sheets, typical): 0.31 ms with 5 nF of cable (50 m at
// 100 pF/m, common practice); three times that.
constexpr uint32_t kSettleUs = 1000;

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

// Makes the pin an output at that level; the level is there before the output is.
void drive_pin(uint8_t pin, bool level_high);

}  // namespace tn

#endif
