#include "chip_port.h"

#include "../../core/node_block_check.h"
#include "chip_flash.h"
#include "core_names.h"
#include "crypto_chip.h"
#include "pins.h"

namespace tn {

namespace {

constexpr int kSignalUnknown = 31;

ChipPort *chip_of(void *ctx) { return static_cast<ChipPort *>(ctx); }

bool probe(void *, uint8_t pin, uint8_t pull) { return probe_is_low(pin, static_cast<Pull>(pull)); }
void feed(void *, uint8_t pin, bool on) { feed_probes(pin, on); }
void relay(void *, uint8_t pin, bool level_high) { relay_to(pin, level_high); }
bool may_have(void *, uint8_t pin, bool) { return has_pin(pin); }
uint64_t now_ms(void *) { return core::uptime_us() / 1000u; }

int accept_one(void *ctx) { return chip_of(ctx)->server.accept_one(); }
int receive(void *ctx, int handle, uint8_t *to, size_t n) { return chip_of(ctx)->server.receive(handle, to, n); }
int send_some(void *ctx, int handle, const uint8_t *from, size_t n) {
  return chip_of(ctx)->server.send_some(handle, from, n);
}
void close_one(void *ctx, int handle) { chip_of(ctx)->server.close_one(handle); }

void announce(void *ctx, const Announcement *what) { chip_of(ctx)->announcer.set(*what); }
void goodbye(void *ctx) { chip_of(ctx)->announcer.goodbye(); }

void restart(void *) { core::restart(); }
bool can_restart(void *) { return !core::loaded_over_serial(); }
void feed_watchdog(void *) { core::feed_watchdog(); }
void random_bytes(void *, uint8_t *to, size_t n) { core::random_bytes(to, n); }
uint32_t free_bytes(void *) { return core::free_heap(); }
uint32_t largest_block(void *) { return core::largest_heap_block(); }

bool rssi_dbm(void *, int16_t *to) {
  const int signal = core::radio_signal_dbm();
  *to = static_cast<int16_t>(signal);
  return signal != kSignalUnknown;
}
bool network_up(void *) { return core::radio_joined(); }
bool access_point(void *, uint8_t bssid[6], uint8_t *channel) {
  if (!core::radio_joined()) return false;
  core::radio_access_point(bssid, channel);
  return true;
}
void mac(void *, uint8_t to[6]) { core::radio_mac(to); }

void join(void *ctx, const char *network, const char *passphrase) {
  if (network == nullptr) {
    core::radio_leave();
  } else {
    ChipPort *const chip = chip_of(ctx);
    core::radio_join(network, passphrase, chip->traits);
    if (!chip->heard) chip->heard = core::radio_keep_alive();
  }
}

Reset reset_reason(void *) {
  switch (core::reset_reason()) {
    case core::kResetHardwareWatchdog:
    case core::kResetSoftwareWatchdog: return Reset::kWatchdog;
    case core::kResetException: return Reset::kCrash;
    case core::kResetRestart: return Reset::kRestart;
    default: return Reset::kPowerOn;  // and the reset button, and a brown-out: the chip cannot tell them apart
  }
}

int console_read(void *) { return core::serial_read(); }
size_t console_write(void *, const char *from, size_t n) {
  const size_t room = core::serial_room();
  return room == 0 ? 0 : core::serial_write(from, n < room ? n : room);
}

// None of a damaged block. WPA3 alone is beyond this chip's SDK.
core::RadioTraits traits_of(const NodeBlock &block) {
  const unsigned bits = check_node_block(block) == BlockFault::kNone ? block.network_traits : 0u;
  return {(bits & kHiddenNetwork) != 0, (bits & kHighChannels) != 0, (bits & kNo80211n) != 0};
}

void fill_in(ChipPort *chip) {
  Port &port = chip->port;
  port = Port{};
  port.ctx = chip;
  port.probe_is_low = probe;
  port.feed = feed;
  port.relay = relay;
  port.has_pin = may_have;
  port.now_ms = now_ms;
  port.process_ms = now_ms;
  port.flash = chip_flash();
  port.accept = accept_one;
  port.recv = receive;
  port.send = send_some;
  port.close = close_one;
  port.announce = announce;
  port.goodbye = goodbye;
  port.restart = restart;
  port.can_restart = can_restart;
  port.feed_watchdog = feed_watchdog;
  port.random = random_bytes;
  port.free_bytes = free_bytes;
  port.largest_block = largest_block;
  port.rssi_dbm = rssi_dbm;
  port.access_point = access_point;
  port.network_up = network_up;
  port.mac = mac;
  port.reset_reason = reset_reason;
  port.crypto = chip_crypto();
  port.join = join;
  if (!chip->console) return;
  port.console_read = console_read;
  port.console_write = console_write;
}

}  // namespace

Reset chip_reset() { return reset_reason(nullptr); }

void start_chip_port(ChipPort *chip, const NodeBlock &block) {
  chip->console = leaves_free(block, core::kSerialTx) && leaves_free(block, core::kSerialRx);
  if (chip->console) core::serial_begin();
  fill_in(chip);
  chip->traits = traits_of(block);
  core::radio_set_up(chip->traits);
  chip->heard = core::radio_keep_alive();
  chip->server.start();
}

}  // namespace tn
