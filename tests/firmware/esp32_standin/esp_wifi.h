// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/esp_wifi/include/esp_wifi.h and esp_wifi_types.h; the configurations are cut down to what is set or read.
#ifndef TN_STANDIN_ESP_WIFI_H
#define TN_STANDIN_ESP_WIFI_H

#include <stdint.h>
#include "esp_event.h"

extern "C" {
typedef enum { WIFI_MODE_NULL = 0, WIFI_MODE_STA } wifi_mode_t;
typedef enum { WIFI_IF_STA, WIFI_IF_AP } wifi_interface_t;
typedef enum { WIFI_FAST_SCAN = 0, WIFI_ALL_CHANNEL_SCAN } wifi_scan_method_t;
typedef enum { WIFI_CONNECT_AP_BY_SIGNAL = 0, WIFI_CONNECT_AP_BY_SECURITY } wifi_sort_method_t;
typedef enum { WIFI_PS_NONE, WIFI_PS_MIN_MODEM, WIFI_PS_MAX_MODEM } wifi_ps_type_t;
typedef enum { WIFI_STORAGE_FLASH, WIFI_STORAGE_RAM } wifi_storage_t;
typedef enum {
  WIFI_EVENT_WIFI_READY = 0,
  WIFI_EVENT_SCAN_DONE,
  WIFI_EVENT_STA_START,
  WIFI_EVENT_STA_STOP,
  WIFI_EVENT_STA_CONNECTED,
  WIFI_EVENT_STA_DISCONNECTED,
  WIFI_EVENT_STA_AUTHMODE_CHANGE
} wifi_event_t;
typedef enum { WIFI_AUTH_OPEN = 0, WIFI_AUTH_WEP, WIFI_AUTH_WPA_PSK, WIFI_AUTH_WPA2_PSK, WIFI_AUTH_WPA_WPA2_PSK, WIFI_AUTH_ENTERPRISE, WIFI_AUTH_WPA3_PSK, WIFI_AUTH_WPA2_WPA3_PSK, WIFI_AUTH_WAPI_PSK, WIFI_AUTH_WPA3_ENT_192 } wifi_auth_mode_t;
typedef enum { WIFI_COUNTRY_POLICY_AUTO, WIFI_COUNTRY_POLICY_MANUAL } wifi_country_policy_t;
typedef struct {
  char cc[3];
  uint8_t schan;
  uint8_t nchan;
  int8_t max_tx_power;
  wifi_country_policy_t policy;
} wifi_country_t;
typedef struct {
  bool capable;
  bool required;
} wifi_pmf_config_t;
#define WIFI_PROTOCOL_11B 1
#define WIFI_PROTOCOL_11G 2
typedef struct {
  int8_t rssi;
  wifi_auth_mode_t authmode;
} wifi_scan_threshold_t;
typedef struct {
  uint8_t ssid[32];
  uint8_t password[64];
  wifi_scan_method_t scan_method;
  wifi_sort_method_t sort_method;
  wifi_scan_threshold_t threshold;
  wifi_pmf_config_t pmf_cfg;
} wifi_sta_config_t;
typedef union {
  wifi_sta_config_t sta;
} wifi_config_t;
typedef struct {
  int magic;
} wifi_init_config_t;
#define WIFI_INIT_CONFIG_DEFAULT() { .magic = 0x1F2F3F4F }
typedef struct {
  uint8_t bssid[6];
  uint8_t ssid[33];
  uint8_t primary;
  int8_t rssi;
} wifi_ap_record_t;
typedef struct {
  uint8_t ssid[32];
  uint8_t ssid_len;
  uint8_t bssid[6];
  uint8_t channel;
  wifi_auth_mode_t authmode;
} wifi_event_sta_connected_t;
typedef struct {
  wifi_auth_mode_t old_mode;
  wifi_auth_mode_t new_mode;
} wifi_event_sta_authmode_change_t;
extern esp_event_base_t WIFI_EVENT;
esp_err_t esp_wifi_init(const wifi_init_config_t *config);
esp_err_t esp_wifi_set_mode(wifi_mode_t mode);
esp_err_t esp_wifi_start(void);
esp_err_t esp_wifi_stop(void);
esp_err_t esp_wifi_connect(void);
esp_err_t esp_wifi_disconnect(void);
esp_err_t esp_wifi_sta_get_ap_info(wifi_ap_record_t *ap_info);
esp_err_t esp_wifi_set_ps(wifi_ps_type_t type);
esp_err_t esp_wifi_set_config(wifi_interface_t interface, wifi_config_t *conf);
esp_err_t esp_wifi_set_country(const wifi_country_t *country);
esp_err_t esp_wifi_set_protocol(wifi_interface_t ifx, uint8_t protocol_bitmap);
esp_err_t esp_wifi_set_max_tx_power(int8_t power);
esp_err_t esp_wifi_set_storage(wifi_storage_t storage);
}

#endif
