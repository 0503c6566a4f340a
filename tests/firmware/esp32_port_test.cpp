// The ESP32 port's pins, radio, sockets, announcement and reset causes over a chip of the test's own: each call into the IDF is
// written down, and events come when the test says so.
#include <errno.h>
#include <string.h>

#include "check.h"
#include "ports/esp32/esp32_port.h"
#include "ports/esp32/idf.h"
#include "sample_block.h"

namespace {

char calls[8192];  // names of what was called, each with its figures, separated by spaces

void note(const char *what, long a = -1, long b = -1) {
  const size_t n = strlen(calls);
  if (b >= 0)
    snprintf(calls + n, sizeof calls - n, "%s(%ld,%ld) ", what, a, b);
  else if (a >= 0)
    snprintf(calls + n, sizeof calls - n, "%s(%ld) ", what, a);
  else
    snprintf(calls + n, sizeof calls - n, "%s ", what);
}

bool said(const char *what) {
  const bool same = strcmp(calls, what) == 0;
  if (!same) printf("calls: %s\n", calls);
  calls[0] = '\0';
  return same;
}

int level = 1, next_fd = 54, waiting = 0, received = 0, error = 0;
uint8_t sent_room = 10;
bool power_taken = true;
long send_ms[100];  // of a socket: SO_SNDTIMEO
esp_event_handler_t handler;
void *handler_ctx;
wifi_config_t last_config;
esp_reset_reason_t cause = ESP_RST_POWERON;

// lwIP without memory for a FIN (2.1 as in esp-idf 4.4.7, api_msg.c:1083-1112): it looks again every 500 ms, and gives up when the
// time for sending is over, or 20 s (opt.h:2076) where a socket has none.
long longest_close_ms = 0;
long close_ms(int s) {
  long waited_ms = 500;
  while (waited_ms < (send_ms[s] > 0 ? send_ms[s] : 20000)) waited_ms += 500;
  return waited_ms;
}

}  // namespace

HardwareSerial Serial;
void HardwareSerial::begin(unsigned long, uint32_t, int8_t, int8_t, bool, unsigned long, uint8_t) { note("console"); }
int HardwareSerial::available() { return 0; }
int HardwareSerial::availableForWrite() { return sent_room; }
int HardwareSerial::read() { return -1; }
size_t HardwareSerial::write(uint8_t) { return 1; }
size_t HardwareSerial::write(const uint8_t *, size_t n) { return n; }

extern "C" {
esp_event_base_t IP_EVENT = "ip", WIFI_EVENT = "wifi";
esp_err_t gpio_set_level(gpio_num_t pin, uint32_t to) { note("level", pin, static_cast<long>(to)); return ESP_OK; }
int gpio_get_level(gpio_num_t pin) { note("read", pin); return level; }
esp_err_t gpio_config(const gpio_config_t *c) {
  note(c->mode == GPIO_MODE_OUTPUT ? "output" : "input", __builtin_ctzll(c->pin_bit_mask), c->pull_up_en);
  return c->pull_down_en == GPIO_PULLDOWN_DISABLE && c->intr_type == GPIO_INTR_DISABLE ? ESP_OK : ESP_FAIL;
}
void esp_rom_delay_us(uint32_t us) { note("wait", static_cast<long>(us)); }
void esp_fill_random(void *buf, size_t len) { memset(buf, 7, len); }
esp_err_t esp_read_mac(uint8_t *mac, esp_mac_type_t) { memset(mac, 1, 6); return ESP_OK; }
void esp_restart(void) { for (;;) {} }
esp_reset_reason_t esp_reset_reason(void) { return cause; }
uint32_t esp_get_free_heap_size(void) { return 100000; }
int64_t esp_timer_get_time(void) { return 5000000LL * 1000000LL; }
void vTaskDelay(const TickType_t ticks) { note("delay", static_cast<long>(ticks)); }
esp_err_t esp_task_wdt_init(uint32_t timeout, bool panic) { note("watchdog", static_cast<long>(timeout), panic); return ESP_OK; }
esp_err_t esp_task_wdt_add(TaskHandle_t) { note("watched"); return ESP_OK; }
esp_err_t esp_task_wdt_reset(void) { return ESP_OK; }
const esp_partition_t *esp_partition_find_first(esp_partition_type_t, esp_partition_subtype_t, const char *) { return nullptr; }
const esp_partition_t *esp_ota_get_running_partition(void) { return nullptr; }
esp_err_t esp_flash_read(esp_flash_t *, void *, uint32_t, uint32_t) { return ESP_FAIL; }
esp_err_t esp_flash_write(esp_flash_t *, const void *, uint32_t, uint32_t) { return ESP_FAIL; }
esp_err_t esp_flash_erase_region(esp_flash_t *, uint32_t, uint32_t) { return ESP_FAIL; }
esp_err_t esp_event_loop_create_default(void) { return ESP_OK; }
esp_err_t esp_event_handler_register(esp_event_base_t, int32_t, esp_event_handler_t to, void *ctx) { handler = to; handler_ctx = ctx; return ESP_OK; }
esp_err_t esp_netif_init(void) { return ESP_OK; }
esp_err_t esp_netif_set_hostname(esp_netif_t *, const char *) { note("hostname"); return ESP_OK; }
esp_netif_t *esp_netif_create_default_wifi_sta(void) { static int one; return reinterpret_cast<esp_netif_t *>(&one); }
esp_err_t esp_wifi_init(const wifi_init_config_t *) { return ESP_OK; }
esp_err_t esp_wifi_set_mode(wifi_mode_t mode) { note("mode", mode); return ESP_OK; }
esp_err_t esp_wifi_start(void) { note("radio-on"); return ESP_OK; }
esp_err_t esp_wifi_stop(void) { note("radio-off"); return ESP_OK; }
esp_err_t esp_wifi_connect(void) { note("connect"); return ESP_OK; }
esp_err_t esp_wifi_disconnect(void) { note("disconnect"); return ESP_OK; }
esp_err_t esp_wifi_sta_get_ap_info(wifi_ap_record_t *to) {
  to->rssi = -61;
  to->primary = 11;
  memcpy(to->bssid, "\x02\x10\x20\x30\x40\x50", 6);
  return ESP_OK;
}
esp_err_t esp_wifi_set_country(const wifi_country_t *to) {
  note("channels", to->schan, to->schan + to->nchan - 1);
  note(to->policy == WIFI_COUNTRY_POLICY_MANUAL ? "asked" : "heard");
  return ESP_OK;
}
esp_err_t esp_wifi_set_protocol(wifi_interface_t at, uint8_t bits) { note("protocol", at, bits); return ESP_OK; }
esp_err_t esp_wifi_set_max_tx_power(int8_t quarter_dbm) { note("power", quarter_dbm); return power_taken ? ESP_OK : ESP_FAIL; }
size_t heap_caps_get_largest_free_block(uint32_t caps) { return caps == (MALLOC_CAP_8BIT | MALLOC_CAP_INTERNAL) ? 65000 : 0; }
esp_err_t esp_wifi_set_ps(wifi_ps_type_t) { return ESP_OK; }
esp_err_t esp_wifi_set_config(wifi_interface_t, wifi_config_t *to) { last_config = *to; note("config"); return ESP_OK; }
esp_err_t esp_wifi_set_storage(wifi_storage_t) { return ESP_OK; }
uint16_t lwip_htons(uint16_t x) { return static_cast<uint16_t>(x << 8 | x >> 8); }
int lwip_socket(int, int, int) { return next_fd++; }
int lwip_bind(int, const struct sockaddr *at, socklen_t) {
  note("port", lwip_htons(reinterpret_cast<const struct sockaddr_in *>(at)->sin_port));
  return 0;
}
int lwip_listen(int, int) { note("listen"); return 0; }
int lwip_fcntl(int, int, int) { note("no-wait"); return 0; }
int lwip_setsockopt(int s, int level, int what, const void *value, socklen_t n) {
  const struct timeval *const time = static_cast<const struct timeval *>(value);
  if (level == SOL_SOCKET && what == SO_SNDTIMEO && n == sizeof *time && s < 100) send_ms[s] = static_cast<long>(time->tv_sec) * 1000 + static_cast<long>(time->tv_usec) / 1000;
  return 0;
}
int lwip_accept(int, struct sockaddr *, socklen_t *) {
  if (waiting == 0) { errno = EAGAIN; return -1; }
  --waiting;
  return next_fd++;
}
int lwip_close(int s) {
  note("close", s);
  if (s < 100) longest_close_ms = longest_close_ms > close_ms(s) ? longest_close_ms : close_ms(s);
  return 0;
}
ssize_t_of_lwip lwip_recv(int, void *, size_t, int flags) { errno = error; return flags == MSG_DONTWAIT ? received : -1; }
ssize_t_of_lwip lwip_send(int, const void *, size_t, int flags) { errno = error; return flags == MSG_DONTWAIT ? received : -1; }
esp_err_t mdns_init(void) { note("mdns"); return ESP_OK; }
esp_err_t mdns_hostname_set(const char *) { return ESP_OK; }
esp_err_t mdns_instance_name_set(const char *) { return ESP_OK; }
esp_err_t mdns_service_add(const char *, const char *service, const char *, uint16_t port, mdns_txt_item_t *, size_t n) {
  note(service, port, static_cast<long>(n));
  return ESP_OK;
}
esp_err_t mdns_service_remove_all(void) { note("bye"); return ESP_OK; }
esp_err_t mdns_service_txt_set(const char *, const char *, mdns_txt_item_t txt[], uint8_t n) { note(txt[n - 1].value, n); return ESP_OK; }
}

namespace {

tn::Esp32Port esp32;

// The sample's probes are on pins 1 to 3, two of which are the console's. These are pins of all four chips.
tn::NodeBlock block_with_first_probe_on(uint8_t pin) {
  tn::NodeBlock block = sample_block();
  block.tanks[0].marks[1].pin = 19;
  block.tanks[0].marks[2].pin = 2;
  block.tanks[0].marks[0].pin = pin;
  seal(&block);
  return block;
}

void connected(wifi_auth_mode_t asks_for) {
  wifi_event_sta_connected_t to = {};
  to.authmode = asks_for;
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_CONNECTED, &to);
}

void start() {
  calls[0] = '\0';
  tn::start_esp32_port(&esp32, block_with_first_probe_on(18));
}

void the_start_is_watched_and_quiet() {
  start();
  CHECK(said("watchdog(8,1) watched console hostname mode(1) radio-on port(80) listen no-wait "));
  CHECK(esp32.port.console_write != nullptr && esp32.port.console_write(nullptr, "abcdefghijklmn", 14) == 10);
}

void no_console_where_its_pins_are_needed() {
  const uint8_t pins[] = {CONSOLE_PINS};  // of UART0 on this chip
  for (const uint8_t pin : pins) {
    calls[0] = '\0';
    tn::start_esp32_port(&esp32, block_with_first_probe_on(pin));
    CHECK(strstr(calls, "console") == nullptr && esp32.port.console_read == nullptr && esp32.port.console_write == nullptr);
  }
  tn::NodeBlock button = block_with_first_probe_on(18);
  button.clear_pin = pins[1];
  seal(&button);
  calls[0] = '\0';
  tn::start_esp32_port(&esp32, button);
  CHECK(strstr(calls, "console") == nullptr && esp32.port.console_read == nullptr);
  tn::NodeBlock fed = block_with_first_probe_on(18);
  fed.feed_pins[0] = pins[0];
  for (size_t k = 0; k < 3; ++k) fed.tanks[0].marks[k].pull = static_cast<uint8_t>(tn::Pull::kFed);
  seal(&fed);
  calls[0] = '\0';
  tn::start_esp32_port(&esp32, fed);
  CHECK(strstr(calls, "console") == nullptr && esp32.port.console_read == nullptr);
  tn::NodeBlock damaged = block_with_first_probe_on(pins[0]);
  damaged.crc32 ^= 1;
  tn::start_esp32_port(&esp32, damaged);
  CHECK(strstr(calls, "console") != nullptr && esp32.port.console_read != nullptr);
}

void the_pull_up_is_on_only_while_reading() {
  start();
  calls[0] = '\0';
  level = 0;
  CHECK(esp32.port.probe_is_low(&esp32, 18, static_cast<uint8_t>(tn::Pull::kInternalUp)));
  CHECK(said("input(18,1) wait(1000) read(18) input(18,0) "));
  level = 1;
  CHECK(!esp32.port.probe_is_low(&esp32, 19, static_cast<uint8_t>(tn::Pull::kExternal)));
  CHECK(esp32.port.feed != nullptr);
  CHECK(said("input(19,0) read(19) "));
}

void a_relay_has_its_level_before_it_is_driven() {
  esp32.port.relay(&esp32, 2, false);
  CHECK(said("level(2,0) output(2,0) "));
}

// What the port says of pins to the core (Port::has_pin): the flash's are none of ours on any chip.
void the_flashs_pins_are_not_there() {
#if defined(CONFIG_IDF_TARGET_ESP32S2) || defined(CONFIG_IDF_TARGET_ESP32S3)
  const uint8_t first = 26, last = 32;
#elif defined(CONFIG_IDF_TARGET_ESP32C3)
  const uint8_t first = 11, last = 17;
#else
  const uint8_t first = 6, last = 11;
#endif
  start();
  for (uint8_t pin = first; pin <= last; ++pin) CHECK(!esp32.port.has_pin(&esp32, pin, false) && !esp32.port.has_pin(&esp32, pin, true));
  CHECK(esp32.port.has_pin(&esp32, 18, true) && !esp32.port.has_pin(&esp32, tn::kNoPin, false));
}

void the_clock_is_wide() { CHECK(esp32.port.now_ms(&esp32) == 5000000000ull); }

void joining_goes_on_by_itself() {
  start();
  calls[0] = '\0';
  esp32.port.join(&esp32, "0123456789abcdef0123456789abcdef", "pass");  // 32 characters: no NUL after them
  CHECK(memcmp(last_config.sta.ssid, "0123456789abcdef0123456789abcdef", 32) == 0 && last_config.sta.password[4] == 0);
  esp32.radio.step(1000);
  CHECK(said("disconnect config "));  // the radio has not said that it is on
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_START, nullptr);
  esp32.radio.step(1010);
  esp32.radio.step(1020);
  CHECK(said("connect ") && !esp32.port.network_up(&esp32));
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_DISCONNECTED, nullptr);
  esp32.radio.step(2000);
  CHECK(said(""));
  esp32.radio.step(1010 + tn::kReconnectAfterMs);
  CHECK(said("connect "));
  handler(handler_ctx, IP_EVENT, IP_EVENT_STA_GOT_IP, nullptr);
  int16_t rssi = 0;
  CHECK(esp32.port.network_up(&esp32) && esp32.port.rssi_dbm(&esp32, &rssi) && rssi == -61);
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_DISCONNECTED, nullptr);
  CHECK(!esp32.port.network_up(&esp32) && !esp32.port.rssi_dbm(&esp32, &rssi));
  esp32.port.join(&esp32, nullptr, nullptr);
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_STOP, nullptr);
  esp32.radio.step(60000);
  CHECK(said("radio-off "));
  esp32.port.join(&esp32, "barn", "pass");
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_START, nullptr);
  esp32.radio.step(61000);
  CHECK(said("config radio-on connect "));
}

// As wifi.rst of esp-idf 4.4.7 has it, "Station Basic Configuration": access points below the threshold are not taken, and of the
// others the one with the most signal.
struct InTheAir {
  wifi_auth_mode_t asks_for;
  int signal_dbm;
};
int taken_of(const InTheAir *air, int n) {
  int best = -1;
  for (int i = 0; i < n; ++i)
    if (air[i].asks_for >= last_config.sta.threshold.authmode && (best < 0 || air[i].signal_dbm > air[best].signal_dbm)) best = i;
  return best;
}

void an_open_twin_is_not_joined() {
  start();
  const InTheAir air[] = {{WIFI_AUTH_OPEN, -30}, {WIFI_AUTH_WEP, -35}, {WIFI_AUTH_WPA_PSK, -40}, {WIFI_AUTH_WPA2_PSK, -70}, {WIFI_AUTH_WPA_WPA2_PSK, -80}};
  esp32.port.join(&esp32, "barn", "passphrase");
  CHECK(last_config.sta.sort_method == WIFI_CONNECT_AP_BY_SIGNAL && taken_of(air, 5) == 3);
  esp32.port.join(&esp32, "guests", "");  // a network that is open by the inventory
  CHECK(taken_of(air, 5) == 0);
  esp32.port.join(&esp32, "barn", "passphrase");
  CHECK(taken_of(air, 5) == 3);
}

// Should the driver take the twin for all that: it is left, and no address of it counts. The IDF's order of strength
// (esp_wifi_types.h:51 of 4.4.7): OPEN < WEP < WPA_PSK < WPA2_PSK = WPA_WPA2_PSK < WAPI_PSK < WPA3_PSK = WPA2_WPA3_PSK; a passphrase
// is for PSK alone.
void a_twin_that_is_joined_is_left(const char *passphrase, unsigned good_modes) {
  for (int mode = WIFI_AUTH_OPEN; mode <= WIFI_AUTH_WPA3_ENT_192; ++mode) {
    const bool good = (good_modes & 1u << mode) != 0;
    esp32.port.join(&esp32, "barn", passphrase);
    handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_DISCONNECTED, nullptr);
    calls[0] = '\0';
    connected(static_cast<wifi_auth_mode_t>(mode));
    handler(handler_ctx, IP_EVENT, IP_EVENT_STA_GOT_IP, nullptr);
    CHECK(said(good ? "" : "disconnect ") && esp32.port.network_up(&esp32) == good);
    handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_DISCONNECTED, nullptr);
  }
}

void what_was_connected_to_is_judged_again() {
  constexpr unsigned kWpa2 = 1u << WIFI_AUTH_WPA2_PSK | 1u << WIFI_AUTH_WPA_WPA2_PSK;
  constexpr unsigned kWpa3 = 1u << WIFI_AUTH_WPA3_PSK | 1u << WIFI_AUTH_WPA2_WPA3_PSK;
  start();
  a_twin_that_is_joined_is_left("passphrase", kWpa2 | kWpa3);
  a_twin_that_is_joined_is_left("", ~0u);
  esp32.port.join(&esp32, "barn", "passphrase");
  connected(WIFI_AUTH_WPA2_PSK);
  handler(handler_ctx, IP_EVENT, IP_EVENT_STA_GOT_IP, nullptr);
  CHECK(esp32.port.network_up(&esp32));
  calls[0] = '\0';
  wifi_event_sta_authmode_change_t change = {WIFI_AUTH_WPA2_PSK, WIFI_AUTH_OPEN};
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_AUTHMODE_CHANGE, &change);
  CHECK(said("disconnect ") && !esp32.port.network_up(&esp32));
  change = {WIFI_AUTH_WPA2_PSK, WIFI_AUTH_WPA2_WPA3_PSK};
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_DISCONNECTED, nullptr);
  connected(WIFI_AUTH_WPA2_PSK);
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_AUTHMODE_CHANGE, &change);
  handler(handler_ctx, IP_EVENT, IP_EVENT_STA_GOT_IP, nullptr);
  CHECK(said("") && esp32.port.network_up(&esp32));
}

void start_with_traits(unsigned traits) {
  tn::NodeBlock block = block_with_first_probe_on(18);
  block.network_traits = static_cast<uint8_t>(traits);
  seal(&block);
  calls[0] = '\0';
  tn::start_esp32_port(&esp32, block);
}

// wifi.rst, "Wi-Fi Country Code": with the automatic policy 12 to 14 are listened to only, with the manual one asked on.
void what_is_out_of_the_ordinary_about_a_network() {
  start_with_traits(tn::kHighChannels);
  CHECK(said("watchdog(8,1) watched console hostname mode(1) channels(1,14) heard radio-on port(80) listen no-wait "));
  start_with_traits(tn::kHighChannels | tn::kHiddenNetwork);
  CHECK(strstr(calls, "channels(1,13) asked radio-on") != nullptr);
  start_with_traits(tn::kNo80211n | tn::kHiddenNetwork);
  CHECK(strstr(calls, "mode(1) protocol(0,3) radio-on") != nullptr);  // 802.11b and g
  start_with_traits(tn::kWpa3Only);
  const InTheAir air[] = {{WIFI_AUTH_OPEN, -30}, {WIFI_AUTH_WPA2_PSK, -40}, {WIFI_AUTH_WPA3_PSK, -70}};
  esp32.port.join(&esp32, "barn", "passphrase");
  CHECK(taken_of(air, 3) == 2 && last_config.sta.pmf_cfg.required);
  a_twin_that_is_joined_is_left("passphrase", 1u << WIFI_AUTH_WPA3_PSK | 1u << WIFI_AUTH_WPA2_WPA3_PSK);
  start();
  esp32.port.join(&esp32, "barn", "passphrase");
  CHECK(taken_of(air, 3) == 1 && !last_config.sta.pmf_cfg.required);
  tn::NodeBlock damaged = block_with_first_probe_on(18);
  damaged.network_traits = tn::kNo80211n;  // its checksum is not of this
  calls[0] = '\0';
  tn::start_esp32_port(&esp32, damaged);
  CHECK(strstr(calls, "protocol") == nullptr);
}

// 13 dBm, as CONFIG_ESP_PHY_REDUCE_TX_POWER of the IDF has it (PHY_TX_POWER_LOWEST of phy_init_data.h, in quarters of a dBm).
void a_weak_supply_gets_a_quiet_radio() {
  cause = ESP_RST_BROWNOUT;
  start();
  CHECK(strstr(calls, "radio-on power(52) ") != nullptr);
  esp32.port.join(&esp32, nullptr, nullptr);
  calls[0] = '\0';
  esp32.port.join(&esp32, "barn", "pass");
  CHECK(said("config radio-on power(52) "));
  cause = ESP_RST_POWERON;
  start();
  CHECK(strstr(calls, "power") == nullptr);
}

// A trial that is tried again after a brown-out comes by a restart: the record tells.
void a_supply_that_was_weak_in_this_trial_gets_one_too() {
  cause = ESP_RST_SW;
  start();
  CHECK(strstr(calls, "power") == nullptr);
  calls[0] = '\0';
  esp32.port.spare_supply(&esp32);
  CHECK(said("power(52) "));
  esp32.port.join(&esp32, nullptr, nullptr);
  calls[0] = '\0';
  esp32.port.join(&esp32, "barn", "pass");
  CHECK(said("config radio-on power(52) "));
}

// Refused before the radio has started (esp_wifi.h:949 of 4.4.7: ESP_ERR_WIFI_NOT_STARTED): asked for again before anything is sent.
void a_limit_that_was_not_taken_is_set_before_connecting() {
  cause = ESP_RST_BROWNOUT;
  power_taken = false;
  start();
  esp32.port.join(&esp32, "barn", "passphrase");
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_START, nullptr);
  power_taken = true;
  calls[0] = '\0';
  esp32.radio.step(1000);
  CHECK(said("power(52) connect "));
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_DISCONNECTED, nullptr);
  esp32.radio.step(5000);
  CHECK(said("connect "));
  cause = ESP_RST_POWERON;
}

void where_it_is_joined() {
  uint8_t bssid[6], channel = 0;
  start();
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_DISCONNECTED, nullptr);
  CHECK(!esp32.port.access_point(&esp32, bssid, &channel));
  handler(handler_ctx, IP_EVENT, IP_EVENT_STA_GOT_IP, nullptr);
  CHECK(esp32.port.access_point(&esp32, bssid, &channel) && memcmp(bssid, "\x02\x10\x20\x30\x40\x50", 6) == 0 && channel == 11);
  CHECK(esp32.port.largest_block(&esp32) == 65000);
}

// A station that leaves one network for another hears of the first one's end when it is at the second already.
void a_late_goodbye_does_not_break_a_live_link() {
  start();
  esp32.port.join(&esp32, "barn", "passphrase");
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_START, nullptr);
  esp32.radio.step(1000);
  connected(WIFI_AUTH_WPA2_PSK);
  handler(handler_ctx, IP_EVENT, IP_EVENT_STA_GOT_IP, nullptr);
  esp32.port.join(&esp32, "stable", "passphrase");
  calls[0] = '\0';
  esp32.radio.step(2000);
  CHECK(said("connect "));
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_DISCONNECTED, nullptr);  // of "barn"
  connected(WIFI_AUTH_WPA2_PSK);
  handler(handler_ctx, IP_EVENT, IP_EVENT_STA_GOT_IP, nullptr);
  for (uint64_t now = 2005; now < 60000; now += 5) esp32.radio.step(now);
  CHECK(said("") && esp32.port.network_up(&esp32));
  handler(handler_ctx, WIFI_EVENT, WIFI_EVENT_STA_DISCONNECTED, nullptr);  // a real one
  esp32.radio.step(60000);
  CHECK(said("connect "));
}

void sockets_never_wait_and_have_lowest_handles_first() {
  start();
  waiting = 7;
  for (int handle = 0; handle < tn::kTcpHandles; ++handle) CHECK(esp32.port.accept(&esp32) == handle);
  CHECK(esp32.port.accept(&esp32) == -1 && waiting == 2);
  esp32.port.close(&esp32, 1);
  CHECK(esp32.port.accept(&esp32) == 1 && waiting == 1);
  uint8_t byte = 0;
  received = -1;
  error = EAGAIN;
  CHECK(esp32.port.recv(&esp32, 0, &byte, 1) == 0 && esp32.port.send(&esp32, 0, &byte, 1) == 0);
  error = ECONNRESET;
  CHECK(esp32.port.recv(&esp32, 0, &byte, 1) == -1 && esp32.port.send(&esp32, 0, &byte, 1) == -1);
  received = 0;  // the other end is done
  CHECK(esp32.port.recv(&esp32, 0, &byte, 1) == -1);
  received = 1;
  CHECK(esp32.port.recv(&esp32, 0, &byte, 1) == 1 && esp32.port.send(&esp32, 0, &byte, 1) == 1);
}

void closing_without_memory_does_not_hold_the_loop() {
  start();
  waiting = 1;
  next_fd = 60;
  longest_close_ms = 0;
  const int handle = esp32.port.accept(&esp32);
  CHECK(handle == 0);
  esp32.port.close(&esp32, handle);
  CHECK(longest_close_ms == 500);  // control is late by that, once; the watchdog is at 8 s
}

void the_announcement_is_added_once_and_taken_back() {
  start();
  calls[0] = '\0';
  tn::Announcement what = {"north", "1.2.0", "0123456789abcdef", "esp32-devkit", "on-trial"};
  esp32.port.announce(&esp32, &what);
  CHECK(said("mdns _tanknode(80,5) "));
  what.phase = "kept";
  esp32.port.announce(&esp32, &what);
  CHECK(said("kept(5) "));
  esp32.port.goodbye(&esp32);
  esp32.port.goodbye(&esp32);
  CHECK(said("bye delay(200) "));
}

void causes_of_a_reset() {
  const struct {
    esp_reset_reason_t idf;
    tn::Reset ours;
  } rows[] = {{ESP_RST_POWERON, tn::Reset::kPowerOn}, {ESP_RST_BROWNOUT, tn::Reset::kBrownOut}, {ESP_RST_EXT, tn::Reset::kPowerOn}, {ESP_RST_SW, tn::Reset::kRestart},
              {ESP_RST_TASK_WDT, tn::Reset::kWatchdog}, {ESP_RST_INT_WDT, tn::Reset::kWatchdog}, {ESP_RST_PANIC, tn::Reset::kCrash}};
  for (const auto &row : rows) {
    cause = row.idf;
    CHECK(esp32.port.reset_reason(&esp32) == row.ours);
  }
}

}  // namespace

int main() {
  RUN(the_start_is_watched_and_quiet);
  RUN(no_console_where_its_pins_are_needed);
  RUN(the_pull_up_is_on_only_while_reading);
  RUN(a_relay_has_its_level_before_it_is_driven);
  RUN(the_flashs_pins_are_not_there);
  RUN(the_clock_is_wide);
  RUN(joining_goes_on_by_itself);
  RUN(an_open_twin_is_not_joined);
  RUN(what_was_connected_to_is_judged_again);
  RUN(what_is_out_of_the_ordinary_about_a_network);
  RUN(a_weak_supply_gets_a_quiet_radio);
  RUN(a_supply_that_was_weak_in_this_trial_gets_one_too);
  RUN(a_limit_that_was_not_taken_is_set_before_connecting);
  RUN(where_it_is_joined);
  RUN(a_late_goodbye_does_not_break_a_live_link);
  RUN(sockets_never_wait_and_have_lowest_handles_first);
  RUN(closing_without_memory_does_not_hold_the_loop);
  RUN(the_announcement_is_added_once_and_taken_back);
  RUN(causes_of_a_reset);
  return check_result();
}
