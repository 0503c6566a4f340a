// Probes and pump relays on the chip's pins.
#ifndef TN_ESP32_PINS_H
#define TN_ESP32_PINS_H

#include <stdint.h>

namespace tn {

// A dry probe's pin must rise to 0.75 of the supply through 45 kOhm (data sheets, typical): 0.31 ms with 5 nF of cable (50 m at
// 100 pF/m, common practice); three times that.
constexpr uint32_t kSettleUs = 1000;
// The same through a resistor outside that a pin feeds: 200 kOhm, 5 % more, and 10 nF (100 m of cable) make 2.9 ms.
constexpr uint32_t kFeedSettleUs = 3000;

// Whether the chip has the pin, for reading or for driving it, and neither the flash nor the PSRAM that this build is for is wired to
// it. Nothing below touches any other pin.
bool has_pin(uint8_t pin, bool drives);

// `pull`: tn::Pull. The chip's own pull-up is on only while the pin is read; with a resistor outside, fed or
// not, the pin is always floating. A pin that could not be made an input is no low one.
bool sample_probe(uint8_t pin, uint8_t pull);

// The pin that feeds the resistors of a tank's probes: HIGH, and long enough for them to settle; else a floating input. It is never
// LOW, which would let current through wet probes the other way.
void feed_probes(uint8_t pin, bool on);

// Makes the pin an output at that level; the level is there before the output is.
void drive_pin(uint8_t pin, bool level_high);

}  // namespace tn

#endif
