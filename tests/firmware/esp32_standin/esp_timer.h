// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_timer/include/esp_timer.h.
#ifndef TN_STANDIN_ESP_TIMER_H
#define TN_STANDIN_ESP_TIMER_H

#include <stdint.h>

extern "C" {
int64_t esp_timer_get_time(void);
}

#endif
