// The node on an ESP8266 board.
//
// A start: the pins are inputs, or as a crash left them (Esp.cpp:491 to 496 of the core: "GPIO status won't change"). The boot loader
// does a copy that was ordered, then starts this. The first call that the system makes into this program
// puts every pump relay off (RF_PRE_INIT, before the radio is set up), the next keeps the core from making inputs of those pins
// (resetPins). setup() then looks at the trial record before anything else: it counts the start, and orders the way back when that
// is due, which needs neither a network nor a healthy loop.
#include "../../core/node.h"
#include "../../core/slots.h"
#include "chip_flash.h"
#include "chip_port.h"
#include "core_names.h"
#include "crypto_chip.h"
#include "pins.h"

namespace {

constexpr unsigned long kIdleMs = 5;  // of a turn in which there is nothing to do at once; probes are sampled every 100 ms

tn::NodeBlock block;
tn::ChipPort chip;
tn::Node node;

// Does not come back when a copy is ordered. After loading over the serial line a restart would not come back either, so there
// nothing is ordered: this image runs on, and the order is given at the next start.
void look_at_record() {
  tn::Slots *early = new tn::Slots;  // 3 KiB, for this moment only; nothing else of this program is on the heap
  early->begin(tn::chip_flash(), &tn::kEsp8266Partition, tn::chip_crypto());
  const tn::InPlace what = early->start_in_place(tn::chip_reset());
  delete early;
  if (!what.copy || tn::core::loaded_over_serial()) return;
  tn::core::order_copy(what.from, what.to, what.bytes);
  tn::core::restart();
}

}  // namespace

RF_PRE_INIT() { tn::pins_off(); }

void resetPins() { tn::pins_off(); }

void setup() {
  tn::pins_off();
  tn::copy_block(&block);
  look_at_record();
  tn::start_chip_port(&chip, block);
  node.begin(&chip.port, &block, &tn::kEsp8266Partition, 0);
}

void loop() {
  const bool more = node.step();
  chip.announcer.step();
  tn::core::wait_ms(more ? 0 : kIdleMs);
}
