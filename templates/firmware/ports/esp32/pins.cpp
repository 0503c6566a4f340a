#include "pins.h"

#include "../../core/node_block.h"
#include "idf.h"

namespace tn {

namespace {

constexpr uint8_t kPinsOfAnyChip = 64;

// All that a pin can be, each time: gpio_set_direction() alone would leave the pull that the chip's reset gives the pin (GPIO4 and
// 13 of the ESP32 down, 14 up), an RTC function of it, and the USB pads of the C3 (18, 19) and S3 (19, 20).
void set_pin(uint8_t pin, idf::gpio_mode_t mode, bool pull_up) {
  if (pin >= kPinsOfAnyChip) return;
  idf::gpio_config_t config = {};
  config.pin_bit_mask = 1ull << pin;
  config.mode = mode;
  config.pull_up_en = pull_up ? idf::GPIO_PULLUP_ENABLE : idf::GPIO_PULLUP_DISABLE;
  config.pull_down_en = idf::GPIO_PULLDOWN_DISABLE;
  config.intr_type = idf::GPIO_INTR_DISABLE;
  idf::gpio_config(&config);
}

}  // namespace

// Less time with the pull-up on: less current through the water, less electrolysis.
bool sample_probe(uint8_t pin, uint8_t pull) {
  const bool own_pull = pull == static_cast<uint8_t>(Pull::kInternalUp);
  set_pin(pin, idf::GPIO_MODE_INPUT, own_pull);
  if (own_pull) idf::esp_rom_delay_us(kSettleUs);
  const bool low = idf::gpio_get_level(static_cast<idf::gpio_num_t>(pin)) == 0;
  if (own_pull) set_pin(pin, idf::GPIO_MODE_INPUT, false);
  return low;
}

void drive_pin(uint8_t pin, bool level_high) {
  idf::gpio_set_level(static_cast<idf::gpio_num_t>(pin), level_high ? 1 : 0);
  set_pin(pin, idf::GPIO_MODE_OUTPUT, false);
}

void feed_probes(uint8_t pin, bool on) {
  if (!on) {
    set_pin(pin, idf::GPIO_MODE_INPUT, false);
    return;
  }
  drive_pin(pin, true);
  idf::esp_rom_delay_us(kFeedSettleUs);
}

}  // namespace tn
