// esp32_reset_tool: what the model of the ESP32 family's pads takes each pin for after reset. A line each: chip; GPIO, input enabled,
// driven, pulled by what.
#include <stdio.h>

#include "esp32_gpio_model.h"

int main() {
  for (const gpio_model::Chip &chip : gpio_model::kChips) {
    const gpio_model::Registers r = gpio_model::after_reset(chip);
    for (int pin = 0; pin < gpio_model::kPads; ++pin) {
      if ((chip.pins & gpio_model::bit(pin)) == 0) continue;
      const gpio_model::Pad pad = gpio_model::pad_of(r, pin);
      const char *const up = pin == chip.usb_plus && r.usb_plus_up ? "usb-up" : "up";
      const char *const pull = pad.pull_up && pad.pull_down ? "both" : pad.pull_up ? up : pad.pull_down ? "down" : "none";
      printf("%s;%d %d %d %s\n", chip.name, pin, pad.input, pad.drives, pull);
    }
  }
  return 0;
}
