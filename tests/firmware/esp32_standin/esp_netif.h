// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_netif/include/esp_netif.h and esp_netif_types.h.
#ifndef TN_STANDIN_ESP_NETIF_H
#define TN_STANDIN_ESP_NETIF_H

#include "esp_event.h"

extern "C" {
typedef struct esp_netif_obj esp_netif_t;
typedef enum { IP_EVENT_STA_GOT_IP, IP_EVENT_STA_LOST_IP } ip_event_t;
extern esp_event_base_t IP_EVENT;
esp_err_t esp_netif_init(void);
esp_err_t esp_netif_set_hostname(esp_netif_t *esp_netif, const char *hostname);
}

#endif
