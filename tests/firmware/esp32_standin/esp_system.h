// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_system/include/esp_system.h.
#ifndef TN_STANDIN_ESP_SYSTEM_H
#define TN_STANDIN_ESP_SYSTEM_H

#include <stdint.h>

extern "C" {
typedef enum {
  ESP_RST_UNKNOWN,
  ESP_RST_POWERON,
  ESP_RST_EXT,
  ESP_RST_SW,
  ESP_RST_PANIC,
  ESP_RST_INT_WDT,
  ESP_RST_TASK_WDT,
  ESP_RST_WDT,
  ESP_RST_DEEPSLEEP,
  ESP_RST_BROWNOUT,
  ESP_RST_SDIO
} esp_reset_reason_t;
void esp_restart(void) __attribute__((noreturn));
esp_reset_reason_t esp_reset_reason(void);
uint32_t esp_get_free_heap_size(void);
}

#endif
