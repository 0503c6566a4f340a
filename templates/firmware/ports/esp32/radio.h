// WiFi as a station, nothing else: it never opens a network of its own. Joining goes on in the background; the control loop is
// not held up.
#ifndef TN_RADIO_H
#define TN_RADIO_H

#include <stddef.h>
#include <stdint.h>

namespace tn {

// After a brown-out: 13 dBm at most, which the IDF's own CONFIG_ESP_PHY_REDUCE_TX_POWER would set; the Arduino core's builds are without
// it. Units of a quarter dBm.
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
  uint64_t connect_ms_ = 0;  // last attempt
  // Set by the event task of the IDF, read by the loop; a byte each.
  volatile bool started_ = false;
  volatile bool loose_ = false;  // neither connected nor connecting
  volatile bool has_address_ = false;

  bool turn_on();
  void set_traits() const;
  static void on_event(void *ctx, const char *base, int32_t id, void *data);
  void note(const char *base, int32_t id);
};

}  // namespace tn

#endif
