// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_system/include/esp_task_wdt.h.
#ifndef TN_STANDIN_ESP_TASK_WDT_H
#define TN_STANDIN_ESP_TASK_WDT_H

#include "esp_err.h"
#include "freertos/task.h"

extern "C" {
esp_err_t esp_task_wdt_init(uint32_t timeout, bool panic);
esp_err_t esp_task_wdt_add(TaskHandle_t handle);
esp_err_t esp_task_wdt_reset(void);
}

#endif
