// The pads of the four chips of the ESP32 family, as registers, and the IDF's calls on them: what each call of esp-idf 4.4.7 writes,
// in its order (components/driver/gpio.c and rtc_io.c, components/hal/CHIP/include/hal/gpio_ll.h and rtc_io_ll.h), from the state
// that each chip's reset leaves (ESP hardware design guidelines, docs/en/CHIP/CHIP-table-io-mux.inc, column "After Reset").
#ifndef TN_TEST_ESP32_GPIO_MODEL_H
#define TN_TEST_ESP32_GPIO_MODEL_H

#include <stdint.h>

namespace gpio_model {

constexpr int kPads = 49;
constexpr uint64_t bit(int pin) { return 1ull << pin; }
constexpr uint64_t bits(int first, int last) { return last < first ? 0 : bit(last) | bits(first, last - 1); }

struct Chip {
  const char *name;
  uint64_t pins;        // SOC_GPIO_VALID_GPIO_MASK, less what no pad has (GPIO20 of the ESP32: gpio/esp32.inc)
  uint64_t outputs;     // SOC_GPIO_VALID_OUTPUT_GPIO_MASK, likewise
  uint64_t rtc_pulls;   // pads whose pulls are those of the RTC (rtc_io_periph.c, where SOC_GPIO_SUPPORT_RTC_INDEPENDENT is not set)
  uint64_t without_pulls;
  uint64_t rtc;         // pads that rtc_gpio_deinit() takes back from the RTC
  uint8_t gpio_function;  // PIN_FUNC_GPIO: FUNC_..._GPIO... of io_mux_reg.h
  int usb_minus, usb_plus;  // pads of USB_SERIAL_JTAG, or -1
  uint64_t reset_input, reset_up, reset_down, reset_output;
};

constexpr uint64_t kEsp32Rtc = bit(0) | bit(2) | bit(4) | bits(12, 15) | bits(25, 27) | bits(32, 39);
constexpr uint64_t kEsp32Pins = bits(0, 19) | bits(21, 23) | bits(25, 27) | bits(32, 39);
constexpr uint64_t kEsp32Up = bit(0) | bit(1) | bit(3) | bits(6, 11) | bit(14) | bit(15);   // 1 U0TXD, 3 U0RXD, 14 MTMS, 15 MTDO
constexpr uint64_t kEsp32Down = bit(2) | bit(4) | bit(5) | bit(12) | bit(13);               // 12 MTDI, 13 MTCK
constexpr uint64_t kS2Pins = bits(0, 21) | bits(26, 46);
constexpr uint64_t kS2Up = bit(0) | bit(18) | bits(26, 32) | bit(43) | bit(44);
constexpr uint64_t kS3Pins = bits(0, 21) | bits(26, 48);
constexpr uint64_t kS3Up = bit(0) | bits(26, 32) | bit(43) | bit(44);  // and 20 by USB
constexpr uint64_t kC3Up = bit(6) | bit(9) | bits(12, 17) | bit(20) | bit(21);  // 6: with EFUSE_DIS_PAD_JTAG 0; and 19 by USB

constexpr Chip kChips[] = {
    {"esp32", kEsp32Pins, kEsp32Pins & ~bits(34, 39), kEsp32Rtc & ~bits(34, 39), bits(34, 39), kEsp32Rtc, 2, -1, -1,
     kEsp32Up | kEsp32Down | bits(16, 19) | bits(21, 23), kEsp32Up, kEsp32Down, 0},
    // The data sheet 5.2, table 3-1, has GPIO5 pulled up at reset, the guidelines down.
    {"esp32, GPIO5 up", kEsp32Pins, kEsp32Pins & ~bits(34, 39), kEsp32Rtc & ~bits(34, 39), bits(34, 39), kEsp32Rtc, 2, -1, -1,
     kEsp32Up | kEsp32Down | bits(16, 19) | bits(21, 23), kEsp32Up | bit(5), kEsp32Down & ~bit(5), 0},
    {"esp32s2", kS2Pins, kS2Pins & ~bit(46), 0, 0, bits(0, 21), 1, -1, -1,
     kS2Up | bits(1, 2) | bits(9, 14) | bit(17) | bits(33, 42) | bits(45, 46), kS2Up, bits(45, 46), 0},
    {"esp32s3", kS3Pins, kS3Pins, 0, 0, bits(0, 21), 1, 19, 20,
     kS3Up | bits(1, 3) | bits(9, 14) | bits(17, 18) | bits(33, 42) | bits(45, 48), kS3Up, bits(45, 46), 0},
    {"esp32c3", bits(0, 21), bits(0, 21), 0, 0, 0, 1, 18, 19, (kC3Up & ~bit(21)) | bits(2, 10), kC3Up, 0, bit(21)},
};

// What a pad is at a moment, for whoever measures at the pin.
struct Pad {
  bool input, drives, level, open_drain, pull_up, pull_down, gpio, usb, rtc;
};

// Registers; a set bit is pin N's.
struct Registers {
  const Chip *chip;
  uint64_t ie, wpu, wpd;           // IO_MUX
  uint64_t rtc_mux, rue, rde;      // RTC_IO
  uint64_t out, enable, open_drain;  // GPIO
  uint8_t function[kPads];         // IO_MUX, MCU_SEL
  bool simple_out[kPads];          // GPIO_FUNCn_OUT_SEL is SIG_GPIO_OUT_IDX
  bool usb_pad, usb_override, usb_plus_up;  // USB_SERIAL_JTAG_CONF0_REG
};

inline Registers after_reset(const Chip &chip) {
  Registers r = {};
  r.chip = &chip;
  r.ie = chip.reset_input;
  r.wpu = chip.reset_up & ~chip.rtc_pulls;
  r.wpd = chip.reset_down & ~chip.rtc_pulls;
  r.rue = chip.reset_up & chip.rtc_pulls;
  r.rde = chip.reset_down & chip.rtc_pulls;
  for (int pin = 0; pin < kPads; ++pin) r.simple_out[pin] = true;
  r.usb_pad = r.usb_plus_up = chip.usb_plus >= 0;
  return r;
}

inline Pad pad_of(const Registers &r, int pin) {
  const Chip &c = *r.chip;
  const uint64_t one = bit(pin);
  const bool rtc_pulls = (c.rtc_pulls & one) != 0;
  Pad p = {};
  p.input = (r.ie & one) != 0;
  p.gpio = r.function[pin] == c.gpio_function;
  p.usb = r.usb_pad && (pin == c.usb_minus || pin == c.usb_plus);
  p.rtc = (r.rtc_mux & one) != 0;
  p.drives = p.gpio ? (r.enable & one) != 0 && r.simple_out[pin] : (c.reset_output & one) != 0;  // else: U0TXD of the C3, idle high
  p.level = p.gpio ? (r.out & one) != 0 : p.drives;
  p.open_drain = (r.open_drain & one) != 0;
  p.pull_up = ((rtc_pulls ? r.rue : r.wpu) & one) != 0 || (pin == c.usb_plus && r.usb_plus_up);
  p.pull_down = ((rtc_pulls ? r.rde : r.wpd) & one) != 0;
  if ((c.without_pulls & one) != 0) p.pull_up = p.pull_down = false;
  return p;
}

inline void set(uint64_t *reg, int pin, bool on) { *reg = on ? *reg | bit(pin) : *reg & ~bit(pin); }

}  // namespace gpio_model

#endif
