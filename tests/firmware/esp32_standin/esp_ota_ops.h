// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/app_update/include/esp_ota_ops.h.
#ifndef TN_STANDIN_ESP_OTA_OPS_H
#define TN_STANDIN_ESP_OTA_OPS_H

#include "esp_partition.h"

extern "C" {
const esp_partition_t *esp_ota_get_running_partition(void);
}

#endif
