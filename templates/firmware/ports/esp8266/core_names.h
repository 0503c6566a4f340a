// Every name that this port uses from the Arduino core for the ESP8266 (3.1.2, which PlatformIO's espressif8266@4.2.1 brings), and
// nothing else: each wrapper says what the core's own code does where that matters. A change of core is a change of this file.
#ifndef TN_ESP8266_CORE_NAMES_H
#define TN_ESP8266_CORE_NAMES_H

#include <Arduino.h>
#include <ESP8266WiFi.h>
#include <ESP8266WiFiGratuitous.h>
#include <ESP8266mDNS.h>
#include <StackThunk.h>
#include <bearssl/bearssl.h>
#include <eboot_command.h>
#include <string.h>
#include <user_interface.h>
#include <wiring_private.h>

namespace tn {
namespace core {

// --- pins (Arduino.h, esp8266_peri.h, wiring_private.h)
using Level = uint8_t;
constexpr uint8_t kPins = 17;  // GPIO 0 to 16
constexpr uint8_t kRtcPin = 16;
constexpr bool is_flash_pin(uint8_t pin) { return pin >= 6 && pin <= 11; }

inline void pin_in(uint8_t pin) { pinMode(pin, INPUT); }
inline void pin_in_pulled_up(uint8_t pin) { pinMode(pin, INPUT_PULLUP); }
inline void pin_out(uint8_t pin) { pinMode(pin, OUTPUT); }
inline bool pin_is_low(uint8_t pin) { return digitalRead(pin) == LOW; }
// The output registers themselves: digitalWrite() also ends waveforms, and its variables need not exist yet in RF_PRE_INIT.
inline void pin_level(uint8_t pin, bool high) {
  if (pin == kRtcPin) {
    GP16O = high ? GP16O | 1u : GP16O & ~1u;
  } else if (high) {
    GPOS = 1u << pin;
  } else {
    GPOC = 1u << pin;
  }
}
inline void wait_us(unsigned us) { delayMicroseconds(us); }
// Levels of GPIO 15, 0 and 2 at reset: 1 means that the board was started for loading over its serial line, and that any restart
// goes there again until the power was away (the core's Updater.cpp refuses for that reason).
inline bool loaded_over_serial() { return ((GPI >> 16) & 0xFu) == 1u; }

// --- time (Arduino.h)
inline uint64_t uptime_us() { return micros64(); }  // 64 bits, never goes back
inline void wait_ms(unsigned long ms) { delay(ms); }  // the system's own tasks run meanwhile

// --- chip (Esp.h, user_interface.h)
inline void restart() { ESP.restart(); }
inline void feed_watchdog() { ESP.wdtFeed(); }  // software watchdog (3.2 s) and hardware watchdog
inline uint32_t free_heap() { return ESP.getFreeHeap(); }
inline uint32_t largest_heap_block() { return ESP.getMaxFreeBlockSize(); }
inline void random_bytes(uint8_t *to, size_t n) { ESP.random(to, n); }  // true random numbers while the radio is on
inline uint32_t reset_reason() { return ESP.getResetInfoPtr()->reason; }
constexpr uint32_t kResetHardwareWatchdog = REASON_WDT_RST;
constexpr uint32_t kResetException = REASON_EXCEPTION_RST;
constexpr uint32_t kResetSoftwareWatchdog = REASON_SOFT_WDT_RST;
constexpr uint32_t kResetRestart = REASON_SOFT_RESTART;

// --- flash (Esp.h): true when it was done. `data` of any alignment; program only clears bits.
inline bool flash_read(uint32_t at, uint8_t *to, size_t n) { return ESP.flashRead(at, to, n); }
inline bool flash_program(uint32_t at, const uint8_t *from, size_t n) { return ESP.flashWrite(at, from, n); }
inline bool flash_erase(uint32_t sector) { return ESP.flashEraseSector(sector); }
inline uint32_t flash_chip_bytes() { return ESP.getFlashChipRealSize(); }

// --- the boot loader's command (eboot_command.h): lies in memory that a restart keeps and a power cut does not
inline void order_copy(uint32_t from, uint32_t to, uint32_t n) {
  eboot_command command = {};
  command.action = ACTION_COPY_RAW;
  command.args[0] = from;
  command.args[1] = to;
  command.args[2] = n;
  eboot_command_write(&command);
}

// --- radio (ESP8266WiFi.h, ESP8266WiFiGratuitous.h, user_interface.h)
// What is out of the ordinary about the network.
struct RadioTraits {
  bool hidden, high_channels, no_80211n;
};
// By default the SDK looks on channels 1 to 13 with the policy "automatic", which asks on 1 to 11 and only listens on the others (as
// the IDF's wifi.rst has it of the same policy): that finds no hidden network there, and none on 14. To ask on 14 is allowed in
// Japan alone.
inline void radio_set_country(const RadioTraits &traits) {
  wifi_country_t country = {};
  memcpy(country.cc, traits.hidden ? "CN" : "JP", 2);
  country.schan = 1;
  country.nchan = traits.hidden ? 13 : 14;
  country.policy = traits.hidden ? WIFI_COUNTRY_POLICY_MANUAL : WIFI_COUNTRY_POLICY_AUTO;
  wifi_set_country(&country);
}
inline void radio_set_up(const RadioTraits &traits) {
  WiFi.persistent(false);  // the network lies in the credentials sector, not in the system's own settings
  WiFi.mode(WIFI_STA);     // never an access point
  WiFi.setSleepMode(WIFI_NONE_SLEEP);
  WiFi.setAutoReconnect(true);
  if (traits.no_80211n) WiFi.setPhyMode(WIFI_PHY_MODE_11G);
  if (traits.high_channels) radio_set_country(traits);
}
// Some routers forget a quiet station, and drop what is for it. From now on the neighbours hear of us by an ARP packet now and then
// (etharp_gratuitous() of the station's interface, from a timer: ESP8266WiFiGratuitous.cpp). False: no memory for the timer.
constexpr uint32_t kKeepAliveMs = 10000;  // own choice: 200 nodes make 20 broadcasts a second
inline bool radio_keep_alive() { return experimental::ESP8266WiFiGratuitous::stationKeepAliveSetIntervalMs(kKeepAliveMs); }
// With a passphrase begin() takes WPA or better (threshold.authmode in ESP8266WiFiSTA.cpp), so no open twin of the network.
inline void radio_join(const char *network, const char *passphrase, const RadioTraits &traits) {
  radio_set_up(traits);    // it may be off; mode() wakes it
  WiFi.disconnect(false);  // begin() alone does not end the call for another network
  WiFi.begin(network, passphrase[0] == '\0' ? nullptr : passphrase);
}
// Power off: forceSleepBegin() leaves the station mode, then sends the modem to sleep for good.
inline void radio_leave() {
  WiFi.disconnect(false);
  WiFi.forceSleepBegin();
}
inline bool radio_joined() { return WiFi.isConnected(); }  // with an address
inline int radio_signal_dbm() { return WiFi.RSSI(); }      // 31: cannot say (user_interface.h)
inline void radio_access_point(uint8_t bssid[6], uint8_t *channel) {  // while joined
  memcpy(bssid, WiFi.BSSID(), 6);
  *channel = WiFi.channel();
}
inline void radio_mac(uint8_t to[6]) { WiFi.macAddress(to); }

// --- TCP (WiFiServer.h, WiFiClient.h)
using Server = WiFiServer;
using Client = WiFiClient;
inline void serve(Server &server) {
  server.begin();
  server.setNoDelay(true);
}
inline bool somebody_waits(Server &server) { return server.hasClient(); }
inline Client take(Server &server) { return server.accept(); }
inline void bound_waiting(Client &client) { client.setTimeout(1); }  // ms: write() waits this long when the queue is full
inline int bytes_waiting(Client &client) { return client.available(); }
inline bool open(Client &client) { return client.connected() != 0; }
inline int read(Client &client, uint8_t *to, size_t n) { return client.read(to, n); }
inline int room_to_write(Client &client) { return client.availableForWrite(); }
inline size_t write(Client &client, const uint8_t *from, size_t n) { return client.write(from, n); }
// Letting go of the last copy closes the connection, and what was written is still sent. stop() would wait for it.
inline void let_go(Client &client) { client = Client(); }

// --- announcement (ESP8266mDNS.h)
using Responder = MDNSResponder;
using Service = MDNSResponder::hMDNSService;
inline bool responder_begin(const char *host) { return MDNS.begin(host); }
inline void responder_end() { MDNS.end(); }  // with goodbye
inline bool responder_runs() { return MDNS.isRunning(); }
inline void responder_step() { MDNS.update(); }
inline void responder_announce() { MDNS.announce(); }
inline Service add_service(const char *name, const char *service, uint16_t port) {
  return MDNS.addService(name, service, "tcp", port);
}
inline void remove_text(Service service, const char *key) { MDNS.removeServiceTxt(service, key); }
inline void add_text(Service service, const char *key, const char *value) { MDNS.addServiceTxt(service, key, value); }

// --- serial line (HardwareSerial.h)
constexpr uint8_t kSerialTx = 1;
constexpr uint8_t kSerialRx = 3;
inline void serial_begin() { Serial.begin(115200); }
inline int serial_read() { return Serial.available() > 0 ? Serial.read() : -1; }
inline size_t serial_room() {
  const int room = Serial.availableForWrite();
  return room > 0 ? static_cast<size_t>(room) : 0;
}
inline size_t serial_write(const char *from, size_t n) { return Serial.write(from, n); }

// --- a second stack for BearSSL (StackThunk.h; make_stack_thunk() in crypto_chip.cpp is its other name): a verification needs more
// than the 4 KiB that loop() has. Taking it without enough heap ends in abort(), hence the look before.
constexpr size_t kBigStackBytes = 6200;
inline bool take_big_stack() {
  void *room = malloc(kBigStackBytes + 64);
  if (room == nullptr) return false;
  free(room);
  stack_thunk_add_ref();
  return true;
}
inline void give_big_stack() { stack_thunk_del_ref(); }

}  // namespace core
}  // namespace tn

#endif
