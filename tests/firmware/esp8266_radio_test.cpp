// The ESP8266 port's radio over a model of the core's WiFi class: opmode and modem sleep as ESP8266WiFiGeneric.cpp and
// ESP8266WiFiSTA.cpp of core 3.1.2 set them (mode(), forceSleepBegin(), disconnect(), begin()).
#include <string.h>

#include "check.h"
#include "ports/esp8266/core_names.h"

namespace {

struct Sdk {
  int opmode = 0;         // wifi_get_opmode()
  bool asleep = true;     // wifi_fpm_do_sleep() without its wakeup; "wifi starts asleep by default" (mode())
  bool persistent = true, reconnects = false;
  int sleep_type = 2;     // modem sleep is the SDK's default
  char network[40] = "";  // station's configuration, in memory
  bool has_passphrase = false;
  bool settings_written = false;
  bool connecting = false;
  int phy = WIFI_PHY_MODE_11N;
  wifi_country_t country = {"CN", 1, 13, WIFI_COUNTRY_POLICY_AUTO};  // default: user_interface.h
  uint32_t arp_every_ms = 0;
} sdk;

bool powered() { return sdk.opmode != 0 && !sdk.asleep; }

}  // namespace

ESP8266WiFiClass WiFi;
void ESP8266WiFiClass::persistent(bool on) { sdk.persistent = on; }
bool ESP8266WiFiClass::mode(WiFiMode_t m) {
  if (sdk.opmode == static_cast<int>(m)) return true;
  if (m != WIFI_OFF) sdk.asleep = false;
  sdk.settings_written |= sdk.persistent;
  sdk.opmode = static_cast<int>(m);
  if (m == WIFI_OFF) sdk.connecting = false;
  return true;
}
bool ESP8266WiFiClass::setSleepMode(WiFiSleepType_t type, uint8_t) {
  sdk.sleep_type = type;
  return true;
}
bool ESP8266WiFiClass::setAutoReconnect(bool on) {
  sdk.reconnects = on;
  return true;
}
bool ESP8266WiFiClass::disconnect(bool wifioff) {
  sdk.settings_written |= sdk.persistent;
  sdk.network[0] = '\0';
  sdk.connecting = false;
  if (wifioff) mode(WIFI_OFF);
  return true;
}
bool ESP8266WiFiClass::forceSleepBegin(uint32_t) {
  mode(WIFI_OFF);
  sdk.asleep = true;
  return true;
}
bool ESP8266WiFiClass::setPhyMode(WiFiPhyMode_t mode) {
  sdk.phy = mode;
  return true;
}
uint8_t *ESP8266WiFiClass::BSSID() {
  static uint8_t bssid[6] = {2, 16, 32, 48, 64, 80};
  return bssid;
}
uint8_t ESP8266WiFiClass::channel(void) { return 11; }
extern "C" bool wifi_set_country(wifi_country_t *country) {
  sdk.country = *country;
  return true;
}
bool experimental::ESP8266WiFiGratuitous::stationKeepAliveSetIntervalMs(uint32_t ms) {
  sdk.arp_every_ms = ms;
  return true;
}
wl_status_t ESP8266WiFiClass::begin(const char *ssid, const char *passphrase, int32_t, const uint8_t *, bool connect) {
  mode(WIFI_STA);
  sdk.settings_written |= sdk.persistent;
  strcpy(sdk.network, ssid);
  sdk.has_passphrase = passphrase != nullptr;
  sdk.connecting = connect && powered();
  return WL_CONNECTED;
}

namespace {

constexpr tn::core::RadioTraits kOrdinary = {};

void the_radio_is_on_from_the_start() {
  tn::core::radio_set_up(kOrdinary);
  CHECK(powered() && sdk.opmode == WIFI_STA && sdk.sleep_type == WIFI_NONE_SLEEP && sdk.reconnects && !sdk.connecting);
}

void left_it_has_no_power_and_joined_it_has() {
  for (int turn = 0; turn < 3; ++turn) {
    tn::core::radio_join("barn", "passphrase", kOrdinary);
    CHECK(powered() && sdk.connecting && sdk.has_passphrase && strcmp(sdk.network, "barn") == 0);
    tn::core::radio_leave();
    CHECK(!powered() && sdk.asleep && sdk.opmode == WIFI_OFF && !sdk.connecting && sdk.network[0] == '\0');
    tn::core::radio_leave();
    CHECK(!powered());
    sdk.sleep_type = WIFI_MODEM_SLEEP;  // the modem was asleep
    tn::core::radio_join("open", "", kOrdinary);
    CHECK(powered() && sdk.opmode == WIFI_STA && sdk.connecting && !sdk.has_passphrase && strcmp(sdk.network, "open") == 0);
    CHECK(sdk.sleep_type == WIFI_NONE_SLEEP && sdk.reconnects);
  }
}

void what_is_out_of_the_ordinary_about_a_network() {
  CHECK(sdk.phy == WIFI_PHY_MODE_11N && sdk.country.nchan == 13);
  tn::core::radio_join("barn", "passphrase", {true, false, false});  // hidden, below 12: asked on by default
  CHECK(sdk.phy == WIFI_PHY_MODE_11N && sdk.country.nchan == 13 && sdk.country.policy == WIFI_COUNTRY_POLICY_AUTO);
  tn::core::radio_join("barn", "passphrase", {false, true, false});
  CHECK(sdk.country.schan == 1 && sdk.country.nchan == 14 && sdk.country.policy == WIFI_COUNTRY_POLICY_AUTO);
  tn::core::radio_join("barn", "passphrase", {true, true, true});
  CHECK(sdk.country.schan == 1 && sdk.country.nchan == 13 && sdk.country.policy == WIFI_COUNTRY_POLICY_MANUAL);
  CHECK(sdk.phy == WIFI_PHY_MODE_11G);
}

void neighbours_hear_of_a_quiet_node() {
  tn::core::radio_keep_alive();
  CHECK(tn::core::radio_keep_alive() && sdk.arp_every_ms > 0 && sdk.arp_every_ms <= 20000);  // well below a minute, the shortest that ARP caches keep (common practice)
}

void where_it_is_joined() {
  uint8_t bssid[6], channel = 0;
  tn::core::radio_access_point(bssid, &channel);
  CHECK(memcmp(bssid, "\x02\x10\x20\x30\x40\x50", 6) == 0 && channel == 11);
}

void the_systems_settings_are_never_written() { CHECK(!sdk.settings_written); }

}  // namespace

int main() {
  RUN(the_radio_is_on_from_the_start);
  RUN(left_it_has_no_power_and_joined_it_has);
  RUN(what_is_out_of_the_ordinary_about_a_network);
  RUN(neighbours_hear_of_a_quiet_node);
  RUN(where_it_is_joined);
  RUN(the_systems_settings_are_never_written);
  return check_result();
}
