#include "pins.h"

#include "../../core/node_block.h"
#include "idf.h"

namespace tn {

namespace {

constexpr uint8_t kPinsOfAnyChip = 64;

constexpr uint64_t pins(unsigned first, unsigned last) { return ((2ull << (last - first)) - 1) << first; }

// esp-idf, docs/en/api-reference/peripherals/gpio.rst, "SPI0/1": used for the flash of the module. The program lies in it: a pin of
// these that is made a GPIO stops the chip at once. gpio_config() takes them like any other.
#if defined(CONFIG_IDF_TARGET_ESP32)
constexpr uint64_t kMemoryPins = pins(6, 11);  // the PSRAM's 16 and 17 are free on boards that have none, as ours
#elif defined(CONFIG_IDF_TARGET_ESP32S2)
constexpr uint64_t kMemoryPins = pins(26, 32);
#elif defined(CONFIG_IDF_TARGET_ESP32S3) && (defined(CONFIG_ESPTOOLPY_OCT_FLASH) || defined(CONFIG_SPIRAM_MODE_OCT))
constexpr uint64_t kMemoryPins = pins(26, 37);
#elif defined(CONFIG_IDF_TARGET_ESP32S3)
constexpr uint64_t kMemoryPins = pins(26, 32);
#elif defined(CONFIG_IDF_TARGET_ESP32C3)
constexpr uint64_t kMemoryPins = pins(11, 17);  // 11 is VDD_SPI, the flash's supply
#else
#error "which pins are the flash's is not known of this chip"
#endif

// All that a pin can be, each time: gpio_set_direction() alone would leave the pull that the chip's reset gives the pin (GPIO4 and
// 13 of the ESP32 down, 14 up), an RTC function of it, and the USB pads of the C3 (18, 19) and S3 (19, 20).
bool set_pin(uint8_t pin, idf::gpio_mode_t mode, bool pull_up) {
  if (!has_pin(pin, mode == idf::GPIO_MODE_OUTPUT)) return false;
  idf::gpio_config_t config = {};
  config.pin_bit_mask = 1ull << pin;
  config.mode = mode;
  config.pull_up_en = pull_up ? idf::GPIO_PULLUP_ENABLE : idf::GPIO_PULLUP_DISABLE;
  config.pull_down_en = idf::GPIO_PULLDOWN_DISABLE;
  config.intr_type = idf::GPIO_INTR_DISABLE;
  return idf::gpio_config(&config) == ESP_OK;
}

}  // namespace

bool has_pin(uint8_t pin, bool drives) {
  const uint64_t there = drives ? SOC_GPIO_VALID_OUTPUT_GPIO_MASK : SOC_GPIO_VALID_GPIO_MASK;
  return pin < kPinsOfAnyChip && ((there & ~kMemoryPins) >> pin & 1u) != 0;
}

// Less time with the pull-up on: less current through the water, less electrolysis.
bool sample_probe(uint8_t pin, uint8_t pull) {
  const bool own_pull = pull == static_cast<uint8_t>(Pull::kInternalUp);
  if (!set_pin(pin, idf::GPIO_MODE_INPUT, own_pull)) return false;
  if (own_pull) idf::esp_rom_delay_us(kSettleUs);
  const bool low = idf::gpio_get_level(static_cast<idf::gpio_num_t>(pin)) == 0;
  if (own_pull) set_pin(pin, idf::GPIO_MODE_INPUT, false);
  return low;
}

void drive_pin(uint8_t pin, bool level_high) {
  if (!has_pin(pin, true)) return;
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
