// The ESP8266 port's pins over a core of the test's own: each call is written down, and the output registers are a page of memory at
// the chip's own address (esp8266_peri.h of the core: GPOS 0x60000304, GPOC 0x60000308, GP16O 0x60000768).
#include <string.h>
#include <sys/mman.h>

#include "check.h"
#include "ports/esp8266/core_names.h"
#include "ports/esp8266/pins.h"
#include "sample_block.h"

tn::NodeBlock block asm("tn_node_block");  // the one in flash, which node_block.h declares as const

namespace {

char calls[1024];  // what was called, in order

void note(const char *what, unsigned pin) {
  const size_t n = strlen(calls);
  snprintf(calls + n, sizeof calls - n, "%s(%u) ", what, pin);
}

bool said(const char *what) {
  const bool same = strcmp(calls, what) == 0;
  if (!same) printf("calls: %s\n", calls);
  calls[0] = '\0';
  return same;
}

int level = LOW;

}  // namespace

extern "C" {
// A driver that goes on shows what the registers were told before it.
void pinMode(uint8_t pin, uint8_t mode) {
  if (mode == OUTPUT && pin < 16 && (GPOS >> pin & 1u) != 0) note("high", pin);
  if (mode == OUTPUT && pin < 16 && (GPOC >> pin & 1u) != 0) note("low", pin);
  if (mode == OUTPUT && pin == 16) note((GP16O & 1u) != 0 ? "high" : "low", pin);
  note(mode == OUTPUT ? "output" : mode == INPUT_PULLUP ? "pull-up" : "input", pin);
  GPOS = GPOC = 0;
}
int digitalRead(uint8_t pin) {
  note("read", pin);
  return level;
}
void delayMicroseconds(unsigned us) { note("wait", us); }
}

namespace {

void the_pull_up_is_on_only_while_reading() {
  level = LOW;
  CHECK(tn::probe_is_low(14, tn::Pull::kInternalUp));
  CHECK(said("pull-up(14) wait(1000) read(14) input(14) "));
  level = HIGH;
  CHECK(!tn::probe_is_low(14, tn::Pull::kInternalUp));
  CHECK(said("pull-up(14) wait(1000) read(14) input(14) "));
  CHECK(!tn::probe_is_low(12, tn::Pull::kExternal));
  CHECK(said("input(12) read(12) "));
}

void a_feed_is_high_before_it_is_driven_and_then_floats() {
  tn::feed_probes(14, true);
  CHECK(said("high(14) output(14) wait(3000) "));
  CHECK(!tn::probe_is_low(12, tn::Pull::kFed));
  CHECK(said("input(12) read(12) "));
  tn::feed_probes(14, false);
  CHECK(said("input(14) "));
}

void a_relay_has_its_level_before_it_is_driven() {
  tn::relay_to(4, true);
  CHECK(said("high(4) output(4) "));
  tn::relay_to(4, false);
  CHECK(said("low(4) output(4) "));
  GP16O = 0xFFFE;
  tn::relay_to(16, true);
  CHECK(said("high(16) output(16) ") && GP16O == 0xFFFF);
  tn::relay_to(16, false);
  CHECK(said("low(16) output(16) ") && GP16O == 0xFFFE);
}

void pins_of_the_flash_are_never_touched() {
  for (uint8_t pin = 6; pin <= 11; ++pin) {
    CHECK(!tn::probe_is_low(pin, tn::Pull::kInternalUp));
    tn::relay_to(pin, true);
    tn::feed_probes(pin, true);
    tn::feed_probes(pin, false);
  }
  tn::relay_to(17, true);
  CHECK(said(""));
}

// The sample has a relay that is on at HIGH on GPIO 10, and one that is on at LOW on 11: here on 12 and 13.
void sample_on_12_and_13() {
  block = sample_block();
  block.tanks[0].pump_pin = 12;
  block.tanks[1].pump_pin = 13;
  seal(&block);
}

void at_the_start_relays_are_off_and_other_pins_inputs() {
  sample_on_12_and_13();
  tn::pins_off();
  CHECK(said("input(0) input(1) input(2) input(3) input(4) input(5) low(12) output(12) high(13) output(13) input(14) input(15) "
             "input(16) "));
}

void with_a_damaged_block_every_pin_is_an_input() {
  sample_on_12_and_13();
  block.crc32 ^= 1;
  tn::pins_off();
  CHECK(strstr(calls, "output") == nullptr);
  CHECK(said("input(0) input(1) input(2) input(3) input(4) input(5) input(12) input(13) input(14) input(15) input(16) "));
}

}  // namespace

int main() {
  void *const at = reinterpret_cast<void *>(0x60000000);
  CHECK(mmap(at, 4096, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS | MAP_FIXED_NOREPLACE, -1, 0) == at);
  if (check_failed != 0) return check_result();
  RUN(the_pull_up_is_on_only_while_reading);
  RUN(a_feed_is_high_before_it_is_driven_and_then_floats);
  RUN(a_relay_has_its_level_before_it_is_driven);
  RUN(pins_of_the_flash_are_never_touched);
  RUN(at_the_start_relays_are_off_and_other_pins_inputs);
  RUN(with_a_damaged_block_every_pin_is_an_input);
  return check_result();
}
