#include "radio.h"

#include <string.h>

#include "../../core/node_block.h"
#include "idf.h"

namespace tn {

namespace {

bool good(int error) { return error == ESP_OK; }

// Into a field that needs no NUL when it is full.
void put(const char *text, uint8_t *to, size_t room) {
  const size_t n = strlen(text);
  memcpy(to, text, n < room ? n : room);
}

// Whether an access point that asks for `mode` asks for `least` at the least. wifi_auth_mode_t is not in order of strength: between
// those with a passphrase lie others that ours is not for.
bool asks_for(uint8_t mode, uint8_t least) {
  switch (mode) {
    case idf::WIFI_AUTH_WPA3_PSK:
    case idf::WIFI_AUTH_WPA2_WPA3_PSK: return true;
    case idf::WIFI_AUTH_WPA2_PSK:
    case idf::WIFI_AUTH_WPA_WPA2_PSK: return least != idf::WIFI_AUTH_WPA3_PSK;
    default: return least == idf::WIFI_AUTH_OPEN;
  }
}

}  // namespace

bool Radio::start(const char *name, uint8_t traits, bool quiet) {
  traits_ = traits;
  quiet_ = quiet;
  if (!good(idf::esp_netif_init()) || !good(idf::esp_event_loop_create_default())) return false;
  idf::esp_netif_t *const station = idf::esp_netif_create_default_wifi_sta();
  if (station == nullptr) return false;
  if (name[0] != '\0') idf::esp_netif_set_hostname(station, name);
  const idf::wifi_init_config_t config = WIFI_INIT_CONFIG_DEFAULT();
  driver_ = good(idf::esp_event_handler_register(idf::WIFI_EVENT, ESP_EVENT_ANY_ID, on_event, this)) &&
            good(idf::esp_event_handler_register(idf::IP_EVENT, ESP_EVENT_ANY_ID, on_event, this)) &&
            good(idf::esp_wifi_init(&config)) && good(idf::esp_wifi_set_storage(idf::WIFI_STORAGE_RAM)) &&
            good(idf::esp_wifi_set_mode(idf::WIFI_MODE_STA));
  if (driver_) set_traits();
  on_ = driver_ && turn_on();
  if (on_) idf::esp_wifi_set_ps(idf::WIFI_PS_NONE);  // a sleeping radio answers late, and misses multicast
  return on_;
}

void Radio::quieten() {
  quiet_ = true;
  if (on_) limit_power();
}

void Radio::limit_power() { limited_ = good(idf::esp_wifi_set_max_tx_power(kQuietQuarterDbm)); }

bool Radio::turn_on() {
  if (!good(idf::esp_wifi_start())) return false;
  limited_ = false;
  if (quiet_) limit_power();
  return true;
}

// By default the IDF looks on channels 1 to 13, on 12 and 13 without asking (wifi.rst, "Wi-Fi Country Code"): that finds no hidden
// network there, and none on 14. To ask on 14 is allowed in Japan alone, so it is only listened to.
void Radio::set_traits() const {
  if ((traits_ & kHighChannels) != 0) {
    const bool hidden = (traits_ & kHiddenNetwork) != 0;
    idf::wifi_country_t country = {};
    put(hidden ? "CN" : "JP", reinterpret_cast<uint8_t *>(country.cc), sizeof country.cc);
    country.schan = 1;
    country.nchan = hidden ? 13 : 14;
    country.policy = hidden ? idf::WIFI_COUNTRY_POLICY_MANUAL : idf::WIFI_COUNTRY_POLICY_AUTO;
    idf::esp_wifi_set_country(&country);
  }
  if ((traits_ & kNo80211n) != 0) idf::esp_wifi_set_protocol(idf::WIFI_IF_STA, WIFI_PROTOCOL_11B | WIFI_PROTOCOL_11G);
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
  // The IDF's default takes any network of this name, an open twin with more signal before ours. The threshold is for both ways of
  // looking (wifi.rst, "Station Basic Configuration", and esp_wifi_types.h:282), though esp_wifi_types.h:222 says fast scan; so what
  // is connected to is judged once more (judge()).
  const bool wpa3 = (traits_ & kWpa3Only) != 0;
  const idf::wifi_auth_mode_t least = passphrase[0] == '\0' ? idf::WIFI_AUTH_OPEN : wpa3 ? idf::WIFI_AUTH_WPA3_PSK : idf::WIFI_AUTH_WPA2_PSK;
  config.sta.threshold.authmode = least;
  least_ = static_cast<uint8_t>(least);
  config.sta.pmf_cfg.capable = true;
  config.sta.pmf_cfg.required = wpa3;
  if (on_) idf::esp_wifi_disconnect();
  idf::esp_wifi_set_config(idf::WIFI_IF_STA, &config);
  if (!on_) on_ = turn_on();
  wanted_ = true;
  loose_ = true;
  connect_ms_ = 0;
}

void Radio::step(uint64_t now_ms) {
  if (!wanted_ || !started_ || !loose_) return;
  if (connect_ms_ != 0 && now_ms - connect_ms_ < kReconnectAfterMs) return;
  if (quiet_ && !limited_) limit_power();
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

bool Radio::access_point(uint8_t bssid[6], uint8_t *channel) const {
  idf::wifi_ap_record_t record;
  if (!has_address_ || !good(idf::esp_wifi_sta_get_ap_info(&record))) return false;
  memcpy(bssid, record.bssid, sizeof record.bssid);
  *channel = record.primary;
  return true;
}

void Radio::on_event(void *ctx, const char *base, int32_t id, void *data) { static_cast<Radio *>(ctx)->note(base, id, data); }

// An open twin of a network with a passphrase is left before anything is said to it: at the start, and when an access point lets its
// encryption go under way.
void Radio::judge(uint8_t mode) {
  false_friend_ = !asks_for(mode, least_);
  if (!false_friend_) return;
  has_address_ = false;
  idf::esp_wifi_disconnect();
}

void Radio::note(const char *base, int32_t id, const void *data) {
  if (base == idf::IP_EVENT) {
    if (id == idf::IP_EVENT_STA_GOT_IP) has_address_ = !false_friend_;
    if (id == idf::IP_EVENT_STA_LOST_IP) has_address_ = false;
    return;
  }
  if (id == idf::WIFI_EVENT_STA_START) started_ = true;
  if (id == idf::WIFI_EVENT_STA_STOP) started_ = has_address_ = false;
  // What came before it, of an earlier connection, is over: no second connect on a link that lives.
  if (id == idf::WIFI_EVENT_STA_CONNECTED) {
    loose_ = false;
    judge(static_cast<uint8_t>(static_cast<const idf::wifi_event_sta_connected_t *>(data)->authmode));
  }
  if (id == idf::WIFI_EVENT_STA_AUTHMODE_CHANGE) {
    judge(static_cast<uint8_t>(static_cast<const idf::wifi_event_sta_authmode_change_t *>(data)->new_mode));
  }
  if (id == idf::WIFI_EVENT_STA_DISCONNECTED) {
    has_address_ = false_friend_ = false;
    loose_ = true;
  }
}

}  // namespace tn
