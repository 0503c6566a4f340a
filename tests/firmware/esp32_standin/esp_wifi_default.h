// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_wifi/include/esp_wifi_default.h.
#ifndef TN_STANDIN_ESP_WIFI_DEFAULT_H
#define TN_STANDIN_ESP_WIFI_DEFAULT_H

#include "esp_netif.h"

extern "C" {
esp_netif_t *esp_netif_create_default_wifi_sta(void);
}

#endif
