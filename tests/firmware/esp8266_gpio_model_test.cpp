// The ESP8266 port's pins over a model of the chip's pads: for every pin, from every state that a reset or something before us can
// have left, each kind of row of a wiring ends in exactly its state, and a relay's pin never shows the level that switches the pump
// on. pinMode() writes what core 3.1.2 writes, in its order (core_esp8266_wiring_digital.cpp; bits: esp8266_peri.h). The output
// registers are a page of memory at the chip's own address.
#include <string.h>
#include <sys/mman.h>

#include "check.h"
#include "ports/esp8266/core_names.h"
#include "ports/esp8266/pins.h"
#include "sample_block.h"

tn::NodeBlock block asm("tn_node_block");  // the one in flash, which node_block.h declares as const

namespace {

constexpr int kPads = 17, kRtcPin = 16;
constexpr double kSupplyV = 3.3, kPullOhm = 45e3;

struct Pad {
  uint8_t function;  // GPF, FFS
  bool pull_up, pull_down;  // GPF, FPU; GP16F, FPD
  bool enable, out, open_drain;
};

Pad pads[kPads], at_read;
double outside_ohm, water_ohm;  // to the supply and to ground; 0: not there
int watched = -1, shown, fed = -1, lows;
bool forbidden;
unsigned waited_us;

// GPFFS_GPIO of esp8266_peri.h: which function is GPIO.
uint8_t gpio_function(int pin) { return pin == 0 || pin == 2 || pin == 4 || pin == 5 ? 0 : pin == kRtcPin ? 1 : 3; }

bool drives(int pin) { return pads[pin].function == gpio_function(pin) && pads[pin].enable && (!pads[pin].open_drain || !pads[pin].out); }

void look() {
  if (fed >= 0 && drives(fed) && !pads[fed].out) ++lows;
  if (watched < 0) return;
  const Pad &p = pads[watched];
  if (drives(watched) && p.out == forbidden) ++shown;
}

// What the port wrote to the output registers since: they act at once, before any later write.
void take_outputs() {
  for (int pin = 0; pin < 16; ++pin) {
    if ((GPOS >> pin & 1u) != 0) pads[pin].out = true;
    if ((GPOC >> pin & 1u) != 0) pads[pin].out = false;
  }
  GPOS = GPOC = 0;
  pads[kRtcPin].out = (GP16O & 1u) != 0;
  look();
}

// GPF(pin) = GPFFS(GPFFS_GPIO(pin)): the pulls go with it.
void gpf(int pin) {
  pads[pin].function = gpio_function(pin);
  pads[pin].pull_up = pads[pin].pull_down = false;
  look();
}
void gpc(int pin, bool open_drain) { pads[pin].open_drain = open_drain; look(); }
void enable(int pin, bool on) { pads[pin].enable = on; look(); }

double pin_v(const Pad &p) {
  double up = p.pull_up ? 1 / kPullOhm : 0, down = p.pull_down ? 1 / kPullOhm : 0;
  if (outside_ohm > 0) up += 1 / outside_ohm;
  if (water_ohm > 0) down += 1 / water_ohm;
  return up + down > 0 ? kSupplyV * up / (up + down) : kSupplyV / 2;
}

}  // namespace

extern "C" {
void pinMode(uint8_t pin, uint8_t mode) {
  take_outputs();
  gpf(pin);
  if (pin == kRtcPin) {
    gpc(pin, false);
    if (mode == INPUT) enable(pin, false);  // INPUT_PULLUP is no mode of this pin: the core does nothing more
    if (mode == OUTPUT) enable(pin, true);
  } else if (mode == OUTPUT) {
    gpc(pin, false);
    enable(pin, true);
  } else {
    enable(pin, false);
    gpc(pin, true);
    if (mode == INPUT_PULLUP) pads[pin].pull_up = true;
    look();
  }
}
int digitalRead(uint8_t pin) {
  take_outputs();
  at_read = pads[pin];
  return pin_v(at_read) >= 0.75 * kSupplyV ? HIGH : LOW;  // VIH of the data sheet
}
void delayMicroseconds(unsigned us) { waited_us += us; }
}

namespace {

bool is_floating_input(int pin, const Pad &p) { return p.function == gpio_function(pin) && !p.enable && !p.pull_up && !p.pull_down; }

// State number `n` of those that may have been left, of all 64.
constexpr int kStates = 64;
void start(int pin, int n) {
  for (int i = 0; i < kPads; ++i) {
    Pad &p = pads[i];
    p.function = (n & 1) != 0 ? 0 : i == kRtcPin ? gpio_function(i) : 3;
    p.pull_up = i != kRtcPin && (n & 2) != 0;
    p.pull_down = (n & 4) != 0;
    p.enable = (n & 8) != 0 && (i != pin || i == kRtcPin);  // reset leaves every driver off, but that of GPIO16
    p.out = (n & 16) != 0;
    p.open_drain = (n & 32) != 0;
  }
  GPOS = GPOC = 0;
  GP16O = pads[kRtcPin].out ? 1 : 0;
  outside_ohm = water_ohm = 0;
  watched = fed = -1;
  shown = lows = 0;
}

bool is_flash(int pin) { return pin >= 6 && pin <= 11; }

void a_probe_with_the_chips_pull_up(int pin, int state) {
  if (pin == kRtcPin) return;  // it has none (boards/data/chips/esp8266.toml refuses it)
  start(pin, state);
  for (int turn = 0; turn < 2; ++turn) {
    waited_us = 0;
    water_ohm = 0;
    CHECK(!tn::probe_is_low(static_cast<uint8_t>(pin), tn::Pull::kInternalUp));
    CHECK(at_read.pull_up && !at_read.pull_down && !at_read.enable && at_read.function == gpio_function(pin) && waited_us >= 998);
    water_ohm = 14e3;
    CHECK(tn::probe_is_low(static_cast<uint8_t>(pin), tn::Pull::kInternalUp) && is_floating_input(pin, pads[pin]));
  }
}

void a_probe_with_a_resistor_outside(int pin, int state) {
  start(pin, state);
  outside_ohm = 220e3;
  CHECK(!tn::probe_is_low(static_cast<uint8_t>(pin), tn::Pull::kExternal));
  CHECK(is_floating_input(pin, at_read) && is_floating_input(pin, pads[pin]));
  water_ohm = 70e3;
  CHECK(tn::probe_is_low(static_cast<uint8_t>(pin), tn::Pull::kExternal));
}

void a_relay(int pin, int state, bool active_high) {
  start(pin, state);
  watched = pin;
  forbidden = active_high;
  tn::relay_to(static_cast<uint8_t>(pin), !active_high);
  take_outputs();
  tn::relay_to(static_cast<uint8_t>(pin), !active_high);
  take_outputs();
  CHECK(shown == 0 && drives(pin) && pads[pin].out == !active_high && !pads[pin].open_drain && !pads[pin].pull_up && !pads[pin].pull_down);
  watched = -1;
  tn::relay_to(static_cast<uint8_t>(pin), active_high);
  take_outputs();
  CHECK(drives(pin) && pads[pin].out == active_high);
}

// A feed is HIGH from feed_probes(pin, true) to feed_probes(pin, false), and floats at any other time; it never drives LOW. GPIO16 too:
// pinMode(16, INPUT) turns the pull-down off (core_esp8266_wiring_digital.cpp; only INPUT_PULLDOWN_16 turns it on).
void a_feed(int pin, int state) {
  const uint8_t gpio = static_cast<uint8_t>(pin);
  for (int first = 0; first < 2; ++first) {  // straight from what was left, and after it was let go
    start(pin, state);
    const bool was_driven = pads[pin].enable;  // GPIO16 alone: what reset drove is not the port's doing
    fed = pin;
    if (first == 0) tn::feed_probes(gpio, false);
    if (was_driven) lows = 0;
    if (first == 0) CHECK(is_floating_input(pin, pads[pin]));
    for (int turn = 0; turn < 2; ++turn) {
      waited_us = 0;
      tn::feed_probes(gpio, true);
      CHECK(drives(pin) && pads[pin].out && !pads[pin].open_drain && !pads[pin].pull_up && !pads[pin].pull_down);
      CHECK(waited_us >= 2911);  // 210 kOhm, 10 nF and ln 4: 2911 us (100 m at 100 pF/m; 0.75 of the supply)
      tn::feed_probes(gpio, false);
      take_outputs();
      CHECK(is_floating_input(pin, pads[pin]));
    }
    CHECK(lows == 0);
  }
}

void a_fed_probe(int pin, int state) {
  start(pin, state);
  outside_ohm = 100e3;
  CHECK(!tn::probe_is_low(static_cast<uint8_t>(pin), tn::Pull::kFed));
  CHECK(is_floating_input(pin, at_read) && is_floating_input(pin, pads[pin]));
  water_ohm = 31e3;  // below a third of 95 kOhm
  CHECK(tn::probe_is_low(static_cast<uint8_t>(pin), tn::Pull::kFed));
}

// At the start, with a good block and with a damaged one: whatever was left, the feed floats, and no moment drives it LOW or HIGH.
void pins_off_feeds_nothing() {
  for (int state = 0; state < kStates; ++state) {
    for (int damaged = 0; damaged < 2; ++damaged) {
      block = sample_block();
      block.tanks[0].pump_pin = 12;
      block.tanks[1].pump_pin = 13;
      block.feed_pins[0] = 14;
      for (size_t k = 0; k < block.tanks[0].mark_count; ++k) block.tanks[0].marks[k].pull = static_cast<uint8_t>(tn::Pull::kFed);
      seal(&block);
      block.crc32 ^= static_cast<uint32_t>(damaged);
      for (int high = 0; high < 2; ++high) {
        start(14, state);
        watched = 14;
        forbidden = high == 1;
        for (int turn = 0; turn < 3; ++turn) tn::pins_off();
        take_outputs();
        CHECK(shown == 0 && is_floating_input(14, pads[14]));
      }
    }
  }
}

void every_pin_ends_as_its_row_says() {
  for (int pin = 0; pin < kPads; ++pin) {
    for (int state = 0; state < kStates && !is_flash(pin); ++state) {
      const int failed = check_failed;
      a_probe_with_the_chips_pull_up(pin, state);
      a_probe_with_a_resistor_outside(pin, state);
      a_relay(pin, state, true);
      a_relay(pin, state, false);
      a_feed(pin, state);
      a_fed_probe(pin, state);
      if (check_failed > failed) printf("  GPIO%d, state %d\n", pin, state);
    }
  }
}

// From reset to begin: RF_PRE_INIT, resetPins() and setup() each call pins_off(); no moment shows a pump's ON that reset did not.
void at_the_start_a_relay_never_shows_on() {
  for (int pin = 0; pin < kPads; ++pin) {
    if (is_flash(pin)) continue;
    for (int state = 0; state < kStates; ++state) {
      for (int active_high = 0; active_high < 2; ++active_high) {
        block = sample_block();
        block.tanks[0].pump_pin = static_cast<uint8_t>(pin);
        block.tanks[0].pump_active_high = static_cast<uint8_t>(active_high);
        block.tanks[1].pump_pin = pin == 12 ? 13 : 12;
        uint8_t free_pin = 0;
        for (tn::TankBlock &tank : block.tanks)
          for (size_t k = 0; k < tank.mark_count; ++k) {
            while (free_pin == pin || free_pin == 12 || free_pin == 13) ++free_pin;
            tank.marks[k].pin = free_pin++;
          }
        seal(&block);
        start(pin, state);
        watched = pin;
        forbidden = active_high == 1;
        const bool by_reset = drives(pin) && pads[pin].out == forbidden;  // GPIO16, which the chip drives before any program runs
        tn::pins_off();
        if (by_reset) shown = 0;
        for (int turn = 0; turn < 2; ++turn) tn::pins_off();
        take_outputs();
        CHECK(shown == 0 && drives(pin) && pads[pin].out != forbidden);
        for (int other = 0; other < 6; ++other)
          if (other != pin) CHECK(is_floating_input(other, pads[other]));
      }
    }
  }
}

// A line for each pin and state: GPIO, driven, pulled by what. tests/boards/test_gpio_models.py looks for the chip's reset there.
int list_states() {
  for (int pin = 0; pin < kPads; ++pin) {
    for (int state = 0; state < kStates && !is_flash(pin); ++state) {
      start(pin, state);
      const Pad &p = pads[pin];
      printf("%d %d %s\n", pin, drives(pin), p.pull_up && p.pull_down ? "both" : p.pull_up ? "up" : p.pull_down ? "down" : "none");
    }
  }
  return 0;
}

}  // namespace

int main(int count, char **) {
  void *const page = mmap(reinterpret_cast<void *>(0x60000000), 4096, PROT_READ | PROT_WRITE,
                          MAP_PRIVATE | MAP_ANONYMOUS | MAP_FIXED_NOREPLACE, -1, 0);
  if (page == MAP_FAILED) return 1;
  if (count > 1) return list_states();
  RUN(every_pin_ends_as_its_row_says);
  RUN(pins_off_feeds_nothing);
  RUN(at_the_start_a_relay_never_shows_on);
  return check_result();
}
