// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_hw_support/include/esp_mac.h.
#ifndef TN_STANDIN_ESP_MAC_H
#define TN_STANDIN_ESP_MAC_H

#include <stdint.h>
#include "esp_err.h"

extern "C" {
typedef enum { ESP_MAC_WIFI_STA, ESP_MAC_WIFI_SOFTAP, ESP_MAC_BT, ESP_MAC_ETH } esp_mac_type_t;
esp_err_t esp_read_mac(uint8_t *mac, esp_mac_type_t type);
}

#endif
