// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_event/include/esp_event.h and esp_event_base.h.
#ifndef TN_STANDIN_ESP_EVENT_H
#define TN_STANDIN_ESP_EVENT_H

#include <stdint.h>
#include "esp_err.h"

extern "C" {
typedef const char *esp_event_base_t;
typedef void (*esp_event_handler_t)(void *event_handler_arg, esp_event_base_t event_base, int32_t event_id, void *event_data);
#define ESP_EVENT_ANY_ID -1
esp_err_t esp_event_loop_create_default(void);
esp_err_t esp_event_handler_register(esp_event_base_t event_base, int32_t event_id, esp_event_handler_t event_handler,
                                     void *event_handler_arg);
}

#endif
