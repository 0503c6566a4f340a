// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/heap/include/esp_heap_caps.h.
#ifndef TN_STANDIN_ESP_HEAP_CAPS_H
#define TN_STANDIN_ESP_HEAP_CAPS_H

#include <stddef.h>
#include <stdint.h>

#define MALLOC_CAP_8BIT (1 << 2)
#define MALLOC_CAP_INTERNAL (1 << 11)

extern "C" {
size_t heap_caps_get_largest_free_block(uint32_t caps);
}

#endif
