// WiFi as a station, nothing else: it never opens a network of its own. Joining goes on in the background; the control loop is
// not held up.
#ifndef TN_RADIO_H
#define TN_RADIO_H

#include <stddef.h>
#include <stdint.h>

namespace tn {

// After a brown-out: 13 dBm at most, which the IDF's own CONFIG_ESP_PHY_REDUCE_TX_POWER would set; the Arduino core's builds are without
// it. Units of a quarter dBm. esp_wifi_set_max_tx_power() is refused before esp_wifi_start() (esp_wifi.h:937,949 of 4.4.7), and until
// then the limit is that of the PHY's data, which are a constant of the core's libraries (phy_init.c:498). So what starts the radio,
// its calibration above all, goes with full power; nothing is sent to a network before the limit is set.
constexpr int8_t kQuietQuarterDbm = 52;
constexpr uint32_t kReconnectAfterMs = 3000;  // between two attempts, so that a wrong passphrase does not keep the radio busy

class Radio {
 public:
  // TCP/IP stack, WiFi driver, radio on (the chip's random numbers want it: esp-idf, "Random Number Generation"). `name`: host
  // name that the node tells a DHCP server; `traits`: NetworkTrait bits; `quiet`: the supply is weak. False: there is no network, and there will be none until a restart.
  bool start(const char *name, uint8_t traits, bool quiet);
  void quieten();  // from now on, as after a brown-out
  void join(const char *network, const char *passphrase);  // null: radio off
  void step(uint64_t now_ms);  // each turn of the loop: connects again when that is due
  bool up() const { return has_address_; }
  bool rssi_dbm(int16_t *to) const;
  bool access_point(uint8_t bssid[6], uint8_t *channel) const;  // false: not joined

 private:
  bool driver_ = false;
  bool on_ = false;
  bool wanted_ = false;
  uint8_t traits_ = 0;
  bool quiet_ = false;
  bool limited_ = false;  // the radio has taken the limit, since it is on
  volatile uint8_t least_ = 0;  // wifi_auth_mode_t that the network wanted has to ask for; 0: any
  uint64_t connect_ms_ = 0;  // last attempt
  // Set by the event task of the IDF, read by the loop; a byte each.
  volatile bool started_ = false;
  volatile bool loose_ = false;  // neither connected nor connecting
  volatile bool has_address_ = false;
  volatile bool false_friend_ = false;  // connected to what does not ask for that, and about to leave it

  bool turn_on();
  void limit_power();
  void set_traits() const;
  static void on_event(void *ctx, const char *base, int32_t id, void *data);
  void note(const char *base, int32_t id, const void *data);
  void judge(uint8_t mode);
};

}  // namespace tn

#endif
