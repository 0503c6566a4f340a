// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/freertos/include/freertos/task.h.
#ifndef TN_STANDIN_FREERTOS_TASK_H
#define TN_STANDIN_FREERTOS_TASK_H

#include "FreeRTOS.h"

extern "C" {
typedef void *TaskHandle_t;
void vTaskDelay(const TickType_t xTicksToDelay);
}

#endif
