// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_rom/include/esp_rom_sys.h.
#ifndef TN_STANDIN_ESP_ROM_SYS_H
#define TN_STANDIN_ESP_ROM_SYS_H

#include <stdint.h>

extern "C" {
void esp_rom_delay_us(uint32_t us);
}

#endif
