// Probes and pump relays on the chip's pins.
#ifndef TN_ESP32_PINS_H
#define TN_ESP32_PINS_H

#include <stdint.h>

namespace tn {

// A dry probe's pin must rise to 0.75 of the supply through 45 kOhm (data sheets, typical): 0.31 ms with 5 nF of cable (50 m at
// 100 pF/m, common practice); three times that.
constexpr uint32_t kSettleUs = 1000;

// `pull`: tn::Pull. The chip's own pull-up is on only while the pin is read; with a resistor outside the pin is always floating.
bool sample_probe(uint8_t pin, uint8_t pull);

// Makes the pin an output at that level; the level is there before the output is.
void drive_pin(uint8_t pin, bool level_high);

}  // namespace tn

#endif
