// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/mdns/include/mdns.h.
#ifndef TN_STANDIN_MDNS_H
#define TN_STANDIN_MDNS_H

#include <stddef.h>
#include <stdint.h>
#include "esp_err.h"

extern "C" {
typedef struct {
  const char *key;
  const char *value;
} mdns_txt_item_t;
esp_err_t mdns_init(void);
esp_err_t mdns_hostname_set(const char *hostname);
esp_err_t mdns_instance_name_set(const char *instance_name);
esp_err_t mdns_service_add(const char *instance_name, const char *service_type, const char *proto, uint16_t port,
                           mdns_txt_item_t txt[], size_t num_items);
esp_err_t mdns_service_remove_all(void);
esp_err_t mdns_service_txt_set(const char *service_type, const char *proto, mdns_txt_item_t txt[], uint8_t num_items);
}

#endif
