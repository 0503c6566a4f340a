// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_common/include/esp_err.h.
#ifndef TN_STANDIN_ESP_ERR_H
#define TN_STANDIN_ESP_ERR_H

typedef int esp_err_t;
#define ESP_OK 0
#define ESP_FAIL -1

#endif
