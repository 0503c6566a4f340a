// Probes and pump relays on the chip's pins.
#ifndef TN_ESP8266_PINS_H
#define TN_ESP8266_PINS_H

#include "../../core/node_block.h"

namespace tn {

// Whether the chip has the pin, and it is not the flash's. Nothing below touches any other.
bool has_pin(uint8_t pin);

// The pull-up is on only while the pin is read: between two samples no current runs through the electrodes.
bool probe_is_low(uint8_t pin, Pull pull);

// The pin that feeds the resistors of a tank's probes: HIGH, and long enough for them to settle; else a floating input. It is never
// LOW, which would let current through wet probes the other way.
void feed_probes(uint8_t pin, bool on);

// Level first, then the driver: the pin never shows the other level in between.
void relay_to(uint8_t pin, bool high);

// Every pump relay of the block off, every other pin an input. For the first moments of a start: reads the block in flash a word
// at a time and needs no variable. A damaged block: all pins are inputs, and the board's own pull keeps its relays off.
void pins_off();

// The node block as a copy that may be read a byte at a time; flash may only be read in whole words.
void copy_block(NodeBlock *to);

}  // namespace tn

#endif
