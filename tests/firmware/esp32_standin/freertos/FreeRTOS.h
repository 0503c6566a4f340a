// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/freertos, FreeRTOS.h and portmacro.h; the tick of the Arduino build is 1 ms.
#ifndef TN_STANDIN_FREERTOS_FREERTOS_H
#define TN_STANDIN_FREERTOS_FREERTOS_H

#include <stdint.h>

typedef uint32_t TickType_t;
#define portTICK_PERIOD_MS ((TickType_t)1)

#endif
