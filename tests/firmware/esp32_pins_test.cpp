// The ESP32 port's pins over a model of the chips' pads: for every pin of every chip, from the state that reset leaves, each kind of
// row of a wiring ends in exactly its state, and a relay's pin never shows the level that switches the pump on.
#include <string.h>

#include "check.h"
#include "core/node_block.h"
#include "esp32_gpio_model.h"
#include "ports/esp32/idf.h"
#include "ports/esp32/pins.h"

using namespace gpio_model;

namespace {

// The chip that this is compiled for, and which pins memory is wired to: esp-idf, docs/en/api-reference/peripherals/gpio/CHIP.inc, the
// notes "SPI0/1" and, of the S3, on octal flash and PSRAM (33 to 37); 11 of the C3: VDD_SPI, its data sheet's pin list.
#if defined(CONFIG_IDF_TARGET_ESP32S2)
constexpr char kTarget[] = "esp32s2";
constexpr uint64_t kMemory = bits(26, 32);
constexpr int kTargetPins = 43 - 7;
#elif defined(CONFIG_IDF_TARGET_ESP32S3) && defined(CONFIG_SPIRAM_MODE_OCT)
constexpr char kTarget[] = "esp32s3";
constexpr uint64_t kMemory = bits(26, 37);
constexpr int kTargetPins = 45 - 12;
#elif defined(CONFIG_IDF_TARGET_ESP32S3)
constexpr char kTarget[] = "esp32s3";
constexpr uint64_t kMemory = bits(26, 32);
constexpr int kTargetPins = 45 - 7;
#elif defined(CONFIG_IDF_TARGET_ESP32C3)
constexpr char kTarget[] = "esp32c3";
constexpr uint64_t kMemory = bits(11, 17);
constexpr int kTargetPins = 22 - 7;
#else
constexpr char kTarget[] = "esp32";
constexpr uint64_t kMemory = bits(6, 11);
constexpr int kTargetPins = 2 * (34 - 6);  // with GPIO5 either way
#endif

bool is_target(const Chip &chip) {
  const size_t n = strlen(kTarget);
  return strncmp(chip.name, kTarget, n) == 0 && (chip.name[n] == '\0' || chip.name[n] == ',');
}

constexpr double kSupplyV = 3.3;
constexpr double kPullOhm = 45e3;     // data sheets, typical
constexpr double kOutsideOhm = 220e3;

Registers r;
double outside_ohm = 0, water_ohm = 0;  // to the supply and to ground; 0: not there
Pad at_read;
uint32_t waited_us = 0;
int fed = -1;            // a feed's pin: no moment of it may show a driven LOW, nor any level after it was let go
int lows = 0;
int watched = -1;        // a relay's pin: no moment of it may show
bool forbidden = false;  // this level, driven or pulled by more than reset's own pull
int shown = 0;

double pin_v(const Pad &p) {
  double up = p.pull_up ? 1 / kPullOhm : 0, down = p.pull_down ? 1 / kPullOhm : 0;
  if (outside_ohm > 0) up += 1 / outside_ohm;
  if (water_ohm > 0) down += 1 / water_ohm;
  return up + down > 0 ? kSupplyV * up / (up + down) : kSupplyV / 2;
}

// After each register's write.
void wrote() {
  if (fed >= 0 && pad_of(r, fed).drives && !pad_of(r, fed).level) ++lows;
  if (watched < 0) return;
  const Pad p = pad_of(r, watched);
  const bool as_reset_left = p.pull_up == pad_of(after_reset(*r.chip), watched).pull_up;
  if (p.gpio && p.drives && p.level == forbidden) ++shown;
  if (forbidden && p.pull_up && !as_reset_left) ++shown;
}

void input(int pin, bool on) { set(&r.ie, pin, on); wrote(); }
void output(int pin, bool on) {
  set(&r.enable, pin, on);
  wrote();
  r.simple_out[pin] = true;
  wrote();
}
void open_drain(int pin, bool on) { set(&r.open_drain, pin, on); wrote(); }
void pull_up(int pin, bool on) {
  if ((r.chip->rtc_pulls & bit(pin)) != 0) {
    set(&r.rue, pin, on);
  } else if ((r.chip->rtc & r.chip->without_pulls & bit(pin)) == 0) {
    if (!on && pin == r.chip->usb_plus) {  // gpio_ll_pullup_dis() of the C3 and S3
      r.usb_override = true;
      r.usb_plus_up = false;
    }
    set(&r.wpu, pin, on);
  }
  wrote();
}
void pull_down(int pin, bool on) {
  if ((r.chip->rtc_pulls & bit(pin)) != 0) {
    set(&r.rde, pin, on);
  } else if ((r.chip->rtc & r.chip->without_pulls & bit(pin)) == 0) {
    set(&r.wpd, pin, on);
  }
  wrote();
}
void select_gpio(int pin) { r.function[pin] = r.chip->gpio_function; wrote(); }

// What the port did before, to see that the model tells the difference: gpio_set_direction(pin, GPIO_MODE_INPUT).
void direction_alone(int pin) {
  select_gpio(pin);
  input(pin, true);
  output(pin, false);
  open_drain(pin, false);
}

}  // namespace

extern "C" {
esp_err_t gpio_config(const gpio_config_t *c) {
  if (c->pin_bit_mask == 0 || (c->pin_bit_mask & ~r.chip->pins) != 0) return ESP_FAIL;
  if ((c->mode & GPIO_MODE_OUTPUT) != 0 && (c->pin_bit_mask & ~r.chip->outputs) != 0) return ESP_FAIL;
  for (int pin = 0; pin < kPads; ++pin) {
    if ((c->pin_bit_mask & bit(pin)) == 0) continue;
    if ((r.chip->rtc & bit(pin)) != 0) set(&r.rtc_mux, pin, false);
    input(pin, (c->mode & GPIO_MODE_INPUT) != 0);
    open_drain(pin, false);
    output(pin, (c->mode & GPIO_MODE_OUTPUT) != 0);
    pull_up(pin, c->pull_up_en == GPIO_PULLUP_ENABLE);
    pull_down(pin, c->pull_down_en == GPIO_PULLDOWN_ENABLE);
    if (pin == r.chip->usb_minus || pin == r.chip->usb_plus) r.usb_pad = false;  // gpio_ll_iomux_func_sel()
    select_gpio(pin);
  }
  return ESP_OK;
}
esp_err_t gpio_set_level(gpio_num_t pin, uint32_t level) {
  if (pin >= kPads || (r.chip->outputs & bit(pin)) == 0) return ESP_FAIL;
  set(&r.out, pin, level != 0);
  wrote();
  return ESP_OK;
}
int gpio_get_level(gpio_num_t pin) {
  at_read = pad_of(r, pin);
  return at_read.input && pin_v(at_read) >= 0.75 * kSupplyV ? 1 : 0;  // VIH; a disabled input reads 0
}
void esp_rom_delay_us(uint32_t us) { waited_us += us; }
}

namespace {

bool is_floating_input(const Pad &p) {
  return p.input && p.gpio && !p.drives && !p.open_drain && !p.pull_up && !p.pull_down && !p.usb && !p.rtc;
}

void start(const Chip &chip, int pin) {
  r = after_reset(chip);
  if ((chip.rtc & bit(pin)) != 0) set(&r.rtc_mux, pin, true);  // the worst that something before us can have left
  waited_us = 0;
  outside_ohm = water_ohm = 0;
  watched = fed = -1;
  shown = lows = 0;
}

// What memory is wired to, and what the chip lacks, is left as it was, and is no low pin.
void a_pin_that_is_not_ours(const Chip &chip, int pin) {
  start(chip, pin);
  const Registers before = r;
  const uint8_t gpio = static_cast<uint8_t>(pin);
  CHECK(!tn::has_pin(gpio, false) && !tn::has_pin(gpio, true));
  water_ohm = 1;
  CHECK(!tn::sample_probe(gpio, static_cast<uint8_t>(tn::Pull::kInternalUp)) && !tn::sample_probe(gpio, static_cast<uint8_t>(tn::Pull::kExternal)));
  tn::drive_pin(gpio, true);
  tn::drive_pin(gpio, false);
  tn::feed_probes(gpio, true);
  tn::feed_probes(gpio, false);
  CHECK(memcmp(&before, &r, sizeof r) == 0);
}

bool reads_low(int pin, tn::Pull pull) { return tn::sample_probe(static_cast<uint8_t>(pin), static_cast<uint8_t>(pull)); }

void a_probe_with_the_chips_pull_up(const Chip &chip, int pin) {
  if ((chip.without_pulls & bit(pin)) != 0) return;
  start(chip, pin);
  for (int turn = 0; turn < 3; ++turn) {
    waited_us = 0;
    water_ohm = 0;
    CHECK(!reads_low(pin, tn::Pull::kInternalUp));
    CHECK(at_read.input && at_read.gpio && at_read.pull_up && !at_read.pull_down && !at_read.drives && !at_read.usb && !at_read.rtc);
    CHECK(waited_us >= 950);  // 3 times 45 kOhm, 5 nF and ln 4: 936 us (0.75 of the supply)
    CHECK(is_floating_input(pad_of(r, pin)));
    water_ohm = 14e3;  // below a third of the pull-up: surely LOW
    CHECK(reads_low(pin, tn::Pull::kInternalUp));
    CHECK(is_floating_input(pad_of(r, pin)));
  }
}

void a_probe_with_a_resistor_outside(const Chip &chip, int pin) {
  start(chip, pin);
  outside_ohm = kOutsideOhm;
  for (int turn = 0; turn < 3; ++turn) {
    water_ohm = 0;
    CHECK(!reads_low(pin, tn::Pull::kExternal));
    CHECK(is_floating_input(at_read) && is_floating_input(pad_of(r, pin)));
    CHECK(pin_v(at_read) > 3.29);
    water_ohm = 70e3;  // below a third of the resistor
    CHECK(reads_low(pin, tn::Pull::kExternal));
  }
}

void a_relay(const Chip &chip, int pin, bool active_high) {
  if ((chip.outputs & bit(pin)) == 0) return;
  start(chip, pin);
  watched = pin;
  forbidden = active_high;
  for (int turn = 0; turn < 3; ++turn) {
    tn::drive_pin(static_cast<uint8_t>(pin), !active_high);
    const Pad p = pad_of(r, pin);
    CHECK(p.gpio && p.drives && p.level == !active_high && !p.open_drain && !p.pull_up && !p.pull_down && !p.usb && !p.rtc);
  }
  CHECK(shown == 0);
  watched = -1;
  tn::drive_pin(static_cast<uint8_t>(pin), active_high);
  CHECK(pad_of(r, pin).drives && pad_of(r, pin).level == active_high);
}

// A feed is HIGH from feed_probes(pin, true) to feed_probes(pin, false), and floats at any other time; it never drives LOW.
void a_feed(const Chip &chip, int pin) {
  if ((chip.outputs & bit(pin)) == 0) return;
  start(chip, pin);
  fed = pin;
  const uint8_t gpio = static_cast<uint8_t>(pin);
  tn::feed_probes(gpio, false);
  CHECK(is_floating_input(pad_of(r, pin)));
  for (int turn = 0; turn < 3; ++turn) {
    waited_us = 0;
    tn::feed_probes(gpio, true);
    const Pad p = pad_of(r, pin);
    CHECK(p.gpio && p.drives && p.level && !p.open_drain && !p.pull_up && !p.pull_down && !p.usb && !p.rtc);
    CHECK(waited_us >= 2911);  // 210 kOhm, 10 nF and ln 4: 2911 us (100 m at 100 pF/m; 0.75 of the supply)
    tn::feed_probes(gpio, false);
    CHECK(is_floating_input(pad_of(r, pin)));
  }
  start(chip, pin);
  fed = pin;
  tn::feed_probes(gpio, true);  // straight from reset
  CHECK(pad_of(r, pin).drives && pad_of(r, pin).level && lows == 0);
}

// The pins of fed probes, through 100 kOhm from what the feed drives: read like those with a resistor to the supply.
void a_fed_probe(const Chip &chip, int pin) {
  start(chip, pin);
  outside_ohm = 100e3;
  CHECK(!reads_low(pin, tn::Pull::kFed) && is_floating_input(at_read) && is_floating_input(pad_of(r, pin)));
  water_ohm = 31e3;  // below a third of 95 kOhm
  CHECK(reads_low(pin, tn::Pull::kFed) && is_floating_input(at_read) && is_floating_input(pad_of(r, pin)));
}

void every_pin_of_every_chip_ends_as_its_row_says() {
  int pins = 0;
  for (const Chip &chip : kChips) {
    if (!is_target(chip)) continue;
    for (int pin = 0; pin < kPads; ++pin) {
      const int failed = check_failed;
      if ((chip.pins & bit(pin)) == 0 || (kMemory & bit(pin)) != 0) {
        if (strcmp(kTarget, "esp32") != 0 || pin != 20) a_pin_that_is_not_ours(chip, pin);  // its mask has the 20 of other packages
        if (check_failed > failed) printf("  %s, GPIO%d\n", chip.name, pin);
        continue;
      }
      CHECK(tn::has_pin(static_cast<uint8_t>(pin), false) && tn::has_pin(static_cast<uint8_t>(pin), true) == ((chip.outputs & bit(pin)) != 0));
      a_probe_with_the_chips_pull_up(chip, pin);
      a_probe_with_a_resistor_outside(chip, pin);
      a_relay(chip, pin, true);
      a_relay(chip, pin, false);
      a_feed(chip, pin);
      a_fed_probe(chip, pin);
      if (check_failed > failed) printf("  %s, GPIO%d\n", chip.name, pin);
      ++pins;
    }
  }
  CHECK(pins == kTargetPins);  // esp-idf docs, gpio/CHIP.inc
}

// 220 kOhm over the pull-down of 45 kOhm: 3.3 V x 45 / 265 = 0.56 V, below 0.25 of the supply.
void the_model_shows_what_a_direction_alone_leaves() {
  start(kChips[0], 4);
  outside_ohm = kOutsideOhm;
  direction_alone(4);
  CHECK(pin_v(pad_of(r, 4)) > 0.559 && pin_v(pad_of(r, 4)) < 0.561 && gpio_get_level(static_cast<gpio_num_t>(4)) == 0);
  for (const Chip &chip : kChips) {
    if (chip.usb_plus < 0) continue;
    start(chip, chip.usb_plus);
    direction_alone(chip.usb_plus);
    CHECK(pad_of(r, chip.usb_plus).usb && pad_of(r, chip.usb_plus).pull_up);
  }
}

void other_pins_are_left_alone() {
  for (const Chip &chip : kChips) {
    if (!is_target(chip)) continue;
    start(chip, 4);
    const Registers before = r;
    tn::drive_pin(255, true);
    tn::drive_pin(24, true);
    tn::feed_probes(255, true);
    tn::feed_probes(255, false);
    CHECK(memcmp(&before, &r, sizeof r) == 0);
    reads_low(4, tn::Pull::kExternal);
    tn::drive_pin(5, true);
    for (int pin = 0; pin < kPads; ++pin) {
      if (pin == 4 || pin == 5) continue;
      const Pad now = pad_of(r, pin), then = pad_of(before, pin);
      CHECK(memcmp(&now, &then, sizeof now) == 0);
    }
  }
}

}  // namespace

int main() {
  RUN(every_pin_of_every_chip_ends_as_its_row_says);
  RUN(the_model_shows_what_a_direction_alone_leaves);
  RUN(other_pins_are_left_alone);
  return check_result();
}
