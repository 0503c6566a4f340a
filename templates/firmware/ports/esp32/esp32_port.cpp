#include "esp32_port.h"

#include "../../core/node_block_check.h"
#include "crypto_mbedtls.h"
#include "idf.h"
#include "pins.h"

namespace tn {

namespace {

constexpr unsigned long kConsoleBaud = 115200;

Esp32Port *self(void *ctx) { return static_cast<Esp32Port *>(ctx); }

// --- pins

bool probe_is_low(void *, uint8_t pin, uint8_t pull) { return sample_probe(pin, pull); }
void feed(void *, uint8_t pin, bool on) { feed_probes(pin, on); }
void relay(void *, uint8_t pin, bool level_high) { drive_pin(pin, level_high); }
bool may_have(void *, uint8_t pin, bool drives) { return has_pin(pin, drives); }

// --- clock and system

uint64_t now_ms(void *) { return static_cast<uint64_t>(idf::esp_timer_get_time()) / 1000u; }
void restart(void *) { idf::esp_restart(); }
void feed_watchdog(void *) { idf::esp_task_wdt_reset(); }
void random_bytes(void *, uint8_t *to, size_t n) { idf::esp_fill_random(to, n); }
uint32_t free_bytes(void *) { return idf::esp_get_free_heap_size(); }
// Of the memory that Mbed TLS may have (CONFIG_MBEDTLS_INTERNAL_MEM_ALLOC of the core's builds).
uint32_t largest_block(void *) {
  return static_cast<uint32_t>(idf::heap_caps_get_largest_free_block(MALLOC_CAP_INTERNAL | MALLOC_CAP_8BIT));
}
void mac(void *, uint8_t to[6]) { idf::esp_read_mac(to, idf::ESP_MAC_WIFI_STA); }

Reset reset_reason(void *) {
  switch (idf::esp_reset_reason()) {
    case idf::ESP_RST_UNKNOWN:
    case idf::ESP_RST_POWERON:
    case idf::ESP_RST_EXT: return Reset::kPowerOn;
    case idf::ESP_RST_BROWNOUT: return Reset::kBrownOut;
    case idf::ESP_RST_SW:
    case idf::ESP_RST_DEEPSLEEP:
    case idf::ESP_RST_SDIO: return Reset::kRestart;
    case idf::ESP_RST_INT_WDT:
    case idf::ESP_RST_TASK_WDT:
    case idf::ESP_RST_WDT: return Reset::kWatchdog;
    case idf::ESP_RST_PANIC: return Reset::kCrash;
  }
  return Reset::kCrash;  // a reason that this core did not know yet
}

// --- network

int accept_one(void *ctx) { return self(ctx)->server.accept_one(); }
int receive(void *ctx, int handle, uint8_t *to, size_t n) { return self(ctx)->server.receive(handle, to, n); }
int send_some(void *ctx, int handle, const uint8_t *from, size_t n) { return self(ctx)->server.send_some(handle, from, n); }
void close_one(void *ctx, int handle) { self(ctx)->server.close_one(handle); }
void announce(void *ctx, const Announcement *what) { self(ctx)->announcer.set(*what); }
void goodbye(void *ctx) { self(ctx)->announcer.goodbye(); }
bool rssi_dbm(void *ctx, int16_t *to) { return self(ctx)->radio.rssi_dbm(to); }
void spare_supply(void *ctx) { self(ctx)->radio.quieten(); }
bool access_point(void *ctx, uint8_t bssid[6], uint8_t *channel) { return self(ctx)->radio.access_point(bssid, channel); }
bool network_up(void *ctx) { return self(ctx)->radio.up(); }
void join(void *ctx, const char *network, const char *passphrase) { self(ctx)->radio.join(network, passphrase); }

// --- console

int console_read(void *) { return idf::Serial.available() > 0 ? idf::Serial.read() : -1; }

size_t console_write(void *, const char *from, size_t n) {
  const int room = idf::Serial.availableForWrite();
  if (room <= 0) return 0;
  const size_t part = n < static_cast<size_t>(room) ? n : static_cast<size_t>(room);
  return idf::Serial.write(reinterpret_cast<const uint8_t *>(from), part);
}

}  // namespace

void start_esp32_port(Esp32Port *esp32, const NodeBlock &block) {
  const bool console = leaves_free(block, idf::TX) && leaves_free(block, idf::RX);
  idf::esp_task_wdt_init(kWatchdogSeconds, true);
  idf::esp_task_wdt_add(nullptr);
  if (console) idf::Serial.begin(kConsoleBaud);
  read_flash_map(&esp32->map);
  const uint8_t traits = check_node_block(block) == BlockFault::kNone ? block.network_traits : uint8_t{0};
  if (esp32->radio.start(name_in_block(block), traits, reset_reason(nullptr) == Reset::kBrownOut)) esp32->server.start();
  Port *const p = &esp32->port;
  p->ctx = esp32;
  p->probe_is_low = probe_is_low;
  p->feed = feed;
  p->relay = relay;
  p->has_pin = may_have;
  p->now_ms = now_ms;
  p->process_ms = now_ms;
  p->flash = &esp32->map.flash;
  p->accept = accept_one;
  p->recv = receive;
  p->send = send_some;
  p->close = close_one;
  p->announce = announce;
  p->goodbye = goodbye;
  p->restart = restart;
  p->feed_watchdog = feed_watchdog;
  p->random = random_bytes;
  p->free_bytes = free_bytes;
  p->largest_block = largest_block;
  p->rssi_dbm = rssi_dbm;
  p->access_point = access_point;
  p->spare_supply = spare_supply;
  p->network_up = network_up;
  p->mac = mac;
  p->reset_reason = reset_reason;
  p->crypto = mbedtls_crypto();
  p->join = join;
  p->console_read = console ? console_read : nullptr;
  p->console_write = console ? console_write : nullptr;
}

}  // namespace tn
