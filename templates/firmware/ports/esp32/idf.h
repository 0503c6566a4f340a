// Every name that this port takes from outside: Arduino core 2.0.17 for ESP32 and the ESP-IDF 4.4.7 under it (platform
// espressif32@6.13.0), Mbed TLS 2.28 and lwIP as they bring them. The port's other files include nothing of these and call nothing
// but tn::idf names, so that a change of core is a change here. Macros cannot be listed so; those used are named at each header.
#ifndef TN_IDF_H
#define TN_IDF_H

#include <Arduino.h>                  // setup() and loop() are ours; macros CONFIG_... (sdkconfig.h)
#include <driver/gpio.h>                // macros SOC_GPIO_VALID_GPIO_MASK, SOC_GPIO_VALID_OUTPUT_GPIO_MASK (soc/soc_caps.h)
#include <esp_err.h>                  // macro ESP_OK
#include <esp_event.h>                // macro ESP_EVENT_ANY_ID
#include <esp_flash.h>
#include <esp_heap_caps.h>              // macros MALLOC_CAP_8BIT, MALLOC_CAP_INTERNAL
#include <esp_mac.h>
#include <esp_netif.h>
#include <esp_ota_ops.h>
#include <esp_partition.h>
#include <esp_random.h>
#include <esp_rom_sys.h>
#include <esp_system.h>
#include <esp_task_wdt.h>
#include <esp_timer.h>
#include <esp_wifi.h>                 // macros WIFI_INIT_CONFIG_DEFAULT, WIFI_PROTOCOL_11B, WIFI_PROTOCOL_11G
#include <esp_wifi_default.h>
#include <freertos/FreeRTOS.h>        // macro portTICK_PERIOD_MS
#include <freertos/task.h>
#include <lwip/sockets.h>             // macros AF_INET, SOCK_STREAM, SOL_SOCKET, IPPROTO_TCP, SO_REUSEADDR, SO_SNDTIMEO, TCP_NODELAY,
                                      // F_SETFL, O_NONBLOCK, MSG_DONTWAIT, INADDR_ANY
#include <lwip/def.h>
#include <mbedtls/ecdsa.h>
#include <mbedtls/ecp.h>              // macros MBEDTLS_ERR_ECP_VERIFY_FAILED, _BAD_INPUT_DATA, _FEATURE_UNAVAILABLE, _INVALID_KEY
#include <mbedtls/gcm.h>              // macro MBEDTLS_ERR_GCM_AUTH_FAILED
#include <mbedtls/md.h>
#include <mbedtls/sha256.h>
#include <mdns.h>

namespace tn {
namespace idf {

// Arduino core: the serial port of the board, and its pins (variants/*/pins_arduino.h)
using ::RX;
using ::Serial;
using ::TX;

// pins
using ::esp_rom_delay_us;
using ::gpio_config;
using ::gpio_config_t;
using ::gpio_get_level;
using ::gpio_mode_t;
using ::gpio_num_t;
using ::gpio_set_level;
using ::GPIO_INTR_DISABLE;
using ::GPIO_MODE_INPUT;
using ::GPIO_MODE_OUTPUT;
using ::GPIO_PULLDOWN_DISABLE;
using ::GPIO_PULLUP_DISABLE;
using ::GPIO_PULLUP_ENABLE;

// clock, tasks, watchdog, system
using ::esp_fill_random;
using ::esp_get_free_heap_size;
using ::esp_read_mac;
using ::esp_reset_reason;
using ::esp_restart;
using ::esp_task_wdt_add;
using ::esp_task_wdt_init;
using ::esp_task_wdt_reset;
using ::esp_timer_get_time;
using ::heap_caps_get_largest_free_block;
using ::vTaskDelay;
using ::ESP_MAC_WIFI_STA;
using ::ESP_RST_BROWNOUT;
using ::ESP_RST_DEEPSLEEP;
using ::ESP_RST_EXT;
using ::ESP_RST_INT_WDT;
using ::ESP_RST_PANIC;
using ::ESP_RST_POWERON;
using ::ESP_RST_SDIO;
using ::ESP_RST_SW;
using ::ESP_RST_TASK_WDT;
using ::ESP_RST_UNKNOWN;
using ::ESP_RST_WDT;

// flash
using ::esp_flash_erase_region;
using ::esp_flash_read;
using ::esp_flash_write;
using ::esp_ota_get_running_partition;
using ::esp_partition_find_first;
using ::esp_partition_subtype_t;
using ::esp_partition_t;
using ::esp_partition_type_t;
using ::ESP_PARTITION_SUBTYPE_APP_OTA_0;
using ::ESP_PARTITION_SUBTYPE_APP_OTA_1;
using ::ESP_PARTITION_SUBTYPE_DATA_OTA;
using ::ESP_PARTITION_TYPE_APP;
using ::ESP_PARTITION_TYPE_DATA;

// WiFi
using ::esp_event_handler_register;
using ::esp_event_loop_create_default;
using ::esp_netif_create_default_wifi_sta;
using ::esp_netif_init;
using ::esp_netif_set_hostname;
using ::esp_netif_t;
using ::esp_wifi_connect;
using ::esp_wifi_disconnect;
using ::esp_wifi_init;
using ::esp_wifi_set_config;
using ::esp_wifi_set_country;
using ::esp_wifi_set_max_tx_power;
using ::esp_wifi_set_mode;
using ::esp_wifi_set_protocol;
using ::esp_wifi_set_ps;
using ::esp_wifi_set_storage;
using ::esp_wifi_sta_get_ap_info;
using ::esp_wifi_start;
using ::esp_wifi_stop;
using ::wifi_ap_record_t;
using ::wifi_auth_mode_t;
using ::wifi_config_t;
using ::wifi_country_t;
using ::wifi_event_sta_authmode_change_t;
using ::wifi_event_sta_connected_t;
using ::wifi_init_config_t;
using ::IP_EVENT;
using ::IP_EVENT_STA_GOT_IP;
using ::IP_EVENT_STA_LOST_IP;
using ::WIFI_ALL_CHANNEL_SCAN;
using ::WIFI_AUTH_OPEN;
using ::WIFI_AUTH_WPA2_PSK;
using ::WIFI_AUTH_WPA2_WPA3_PSK;
using ::WIFI_AUTH_WPA3_PSK;
using ::WIFI_AUTH_WPA_WPA2_PSK;
using ::WIFI_CONNECT_AP_BY_SIGNAL;
using ::WIFI_COUNTRY_POLICY_AUTO;
using ::WIFI_COUNTRY_POLICY_MANUAL;
using ::WIFI_EVENT;
using ::WIFI_EVENT_STA_AUTHMODE_CHANGE;
using ::WIFI_EVENT_STA_CONNECTED;
using ::WIFI_EVENT_STA_DISCONNECTED;
using ::WIFI_EVENT_STA_START;
using ::WIFI_EVENT_STA_STOP;
using ::WIFI_IF_STA;
using ::WIFI_MODE_STA;
using ::WIFI_PS_NONE;
using ::WIFI_STORAGE_RAM;

// sockets
using ::lwip_accept;
using ::lwip_bind;
using ::lwip_close;
using ::lwip_fcntl;
using ::lwip_htons;
using ::lwip_listen;
using ::lwip_recv;
using ::lwip_send;
using ::lwip_setsockopt;
using ::lwip_socket;
using ::sockaddr;
using ::sockaddr_in;
using ::timeval;

// mDNS
using ::mdns_hostname_set;
using ::mdns_init;
using ::mdns_instance_name_set;
using ::mdns_service_add;
using ::mdns_service_remove_all;
using ::mdns_service_txt_set;
using ::mdns_txt_item_t;

// Mbed TLS
using ::mbedtls_ecdsa_verify;
using ::mbedtls_ecp_check_pubkey;
using ::mbedtls_ecp_group;
using ::mbedtls_ecp_group_free;
using ::mbedtls_ecp_group_init;
using ::mbedtls_ecp_group_load;
using ::mbedtls_ecp_point;
using ::mbedtls_ecp_point_free;
using ::mbedtls_ecp_point_init;
using ::mbedtls_ecp_point_read_binary;
using ::mbedtls_gcm_auth_decrypt;
using ::mbedtls_gcm_context;
using ::mbedtls_gcm_free;
using ::mbedtls_gcm_init;
using ::mbedtls_gcm_setkey;
using ::mbedtls_md_context_t;
using ::mbedtls_md_free;
using ::mbedtls_md_hmac_finish;
using ::mbedtls_md_hmac_starts;
using ::mbedtls_md_hmac_update;
using ::mbedtls_md_info_from_type;
using ::mbedtls_md_init;
using ::mbedtls_md_setup;
using ::mbedtls_mpi;
using ::mbedtls_mpi_free;
using ::mbedtls_mpi_init;
using ::mbedtls_mpi_read_binary;
using ::mbedtls_sha256_context;
using ::mbedtls_sha256_finish_ret;
using ::mbedtls_sha256_free;
using ::mbedtls_sha256_init;
using ::mbedtls_sha256_starts_ret;
using ::mbedtls_sha256_update_ret;
using ::MBEDTLS_CIPHER_ID_AES;
using ::MBEDTLS_ECP_DP_SECP256R1;
using ::MBEDTLS_MD_SHA256;

}  // namespace idf
}  // namespace tn

// Names that the core calls in us, instead of weak ones of its own (cores/esp32/esp32-hal-misc.c and main.cpp).
extern "C" bool verifyRollbackLater();  // true: the image on trial is not confirmed before setup(), but by `keep`

#endif
