// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/spi_flash/include/esp_flash.h.
#ifndef TN_STANDIN_ESP_FLASH_H
#define TN_STANDIN_ESP_FLASH_H

#include <stdint.h>
#include "esp_err.h"

extern "C" {
typedef struct esp_flash_t esp_flash_t;
esp_err_t esp_flash_erase_region(esp_flash_t *chip, uint32_t start, uint32_t len);
esp_err_t esp_flash_read(esp_flash_t *chip, void *buffer, uint32_t address, uint32_t length);
esp_err_t esp_flash_write(esp_flash_t *chip, const void *buffer, uint32_t address, uint32_t length);
}

#endif
