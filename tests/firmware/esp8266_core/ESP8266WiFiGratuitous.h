// Stand-in for the header of this name (see Arduino.h beside it) of the core's library ESP8266WiFi, core 3.1.2.
#ifndef STANDIN_ESP8266WIFIGRATUITOUS_H
#define STANDIN_ESP8266WIFIGRATUITOUS_H

#include <stdint.h>

namespace experimental {
class ESP8266WiFiGratuitous {
 public:
  static bool stationKeepAliveSetIntervalMs(uint32_t ms = 1000);
};
}  // namespace experimental

#endif
