#include "radio.h"

#include <string.h>

#include "idf.h"

namespace tn {

namespace {

bool good(int error) { return error == ESP_OK; }

// Into a field that needs no NUL when it is full.
void put(const char *text, uint8_t *to, size_t room) {
  const size_t n = strlen(text);
  memcpy(to, text, n < room ? n : room);
}

}  // namespace

bool Radio::start(const char *name) {
  if (!good(idf::esp_netif_init()) || !good(idf::esp_event_loop_create_default())) return false;
  idf::esp_netif_t *const station = idf::esp_netif_create_default_wifi_sta();
  if (station == nullptr) return false;
  if (name[0] != '\0') idf::esp_netif_set_hostname(station, name);
  const idf::wifi_init_config_t config = WIFI_INIT_CONFIG_DEFAULT();
  driver_ = good(idf::esp_event_handler_register(idf::WIFI_EVENT, ESP_EVENT_ANY_ID, on_event, this)) &&
            good(idf::esp_event_handler_register(idf::IP_EVENT, ESP_EVENT_ANY_ID, on_event, this)) &&
            good(idf::esp_wifi_init(&config)) && good(idf::esp_wifi_set_storage(idf::WIFI_STORAGE_RAM)) &&
            good(idf::esp_wifi_set_mode(idf::WIFI_MODE_STA));
  on_ = driver_ && good(idf::esp_wifi_start());
  if (on_) idf::esp_wifi_set_ps(idf::WIFI_PS_NONE);  // a sleeping radio answers late, and misses multicast
  return on_;
}

void Radio::join(const char *network, const char *passphrase) {
  if (!driver_) return;
  if (network == nullptr) {
    wanted_ = false;
    if (on_) idf::esp_wifi_stop();
    on_ = false;
    return;
  }
  idf::wifi_config_t config;
  memset(&config, 0, sizeof config);
  put(network, config.sta.ssid, sizeof config.sta.ssid);
  put(passphrase, config.sta.password, sizeof config.sta.password);
  config.sta.scan_method = idf::WIFI_ALL_CHANNEL_SCAN;
  config.sta.sort_method = idf::WIFI_CONNECT_AP_BY_SIGNAL;
  // The IDF's default takes any network of this name, an open twin with more signal before ours.
  if (passphrase[0] != '\0') config.sta.threshold.authmode = idf::WIFI_AUTH_WPA2_PSK;
  if (on_) idf::esp_wifi_disconnect();
  idf::esp_wifi_set_config(idf::WIFI_IF_STA, &config);
  if (!on_) on_ = good(idf::esp_wifi_start());
  wanted_ = true;
  loose_ = true;
  connect_ms_ = 0;
}

void Radio::step(uint64_t now_ms) {
  if (!wanted_ || !started_ || !loose_) return;
  if (connect_ms_ != 0 && now_ms - connect_ms_ < kReconnectAfterMs) return;
  connect_ms_ = now_ms;
  loose_ = false;
  if (!good(idf::esp_wifi_connect())) loose_ = true;
}

bool Radio::rssi_dbm(int16_t *to) const {
  idf::wifi_ap_record_t record;
  if (!has_address_ || !good(idf::esp_wifi_sta_get_ap_info(&record))) return false;
  *to = record.rssi;
  return true;
}

void Radio::on_event(void *ctx, const char *base, int32_t id, void *) { static_cast<Radio *>(ctx)->note(base, id); }

void Radio::note(const char *base, int32_t id) {
  if (base == idf::IP_EVENT) {
    if (id == idf::IP_EVENT_STA_GOT_IP) has_address_ = true;
    if (id == idf::IP_EVENT_STA_LOST_IP) has_address_ = false;
    return;
  }
  if (id == idf::WIFI_EVENT_STA_START) started_ = true;
  if (id == idf::WIFI_EVENT_STA_STOP) started_ = has_address_ = false;
  // What came before it, of an earlier connection, is over: no second connect on a link that lives.
  if (id == idf::WIFI_EVENT_STA_CONNECTED) loose_ = false;
  if (id == idf::WIFI_EVENT_STA_DISCONNECTED) {
    has_address_ = false;
    loose_ = true;
  }
}

}  // namespace tn
