// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_rom/include/esp_rom_gpio.h.
#ifndef TN_STANDIN_ESP_ROM_GPIO_H
#define TN_STANDIN_ESP_ROM_GPIO_H

#include <stdint.h>

extern "C" {
void esp_rom_gpio_pad_select_gpio(uint32_t iopad_num);
}

#endif
