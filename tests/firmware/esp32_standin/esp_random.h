// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_hw_support/include/esp_random.h.
#ifndef TN_STANDIN_ESP_RANDOM_H
#define TN_STANDIN_ESP_RANDOM_H

#include <stddef.h>

extern "C" {
void esp_fill_random(void *buf, size_t len);
}

#endif
