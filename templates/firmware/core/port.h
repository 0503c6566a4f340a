// All contact of the core with the world. A port fills this in; tests fill it with fakes.
// No call blocks for more than a few milliseconds, except flash erase.
#ifndef TN_PORT_H
#define TN_PORT_H

#include <stddef.h>
#include <stdint.h>

#include "limits.h"

namespace tn {

enum class Reset : uint8_t { kPowerOn = 0, kRestart = 1, kWatchdog = 2, kCrash = 3, kBrownOut = 4 };

// What came of a verification, or of opening what is sealed. No memory for it says nothing of the signature or the seal.
enum class Verified : uint8_t { kBad = 0, kGood = 1, kNoMemory = 2 };

// NOR flash behind the slots: erase sets a whole sector to 0xFF, program only clears bits. All return false on failure.
struct Flash {
  void *ctx;
  uint32_t size_bytes;
  uint32_t sector_bytes;
  bool (*read)(void *ctx, uint32_t at, void *to, uint32_t n);
  bool (*program)(void *ctx, uint32_t at, const void *from, uint32_t n);
  bool (*erase)(void *ctx, uint32_t at);  // one sector
};

// SHA-256 in progress; the port keeps its own state in `room` (BearSSL's context is 112 bytes, Mbed TLS's about as much).
struct Sha256 {
  alignas(8) uint8_t room[kSha256Bytes];
};

// HMAC-SHA256 (RFC 2104) in progress: BearSSL's context is 280 bytes, Mbed TLS's three pointers to what it takes from the heap.
struct Hmac {
  alignas(8) uint8_t room[kHmacBytes];
};

struct Crypto {
  // Each begin is followed by its end, on every path: it lets go of what the library took, memory or the chip's own engine.
  void (*sha256_begin)(Sha256 *s);
  void (*sha256_add)(Sha256 *s, const void *data, size_t n);
  void (*sha256_end)(Sha256 *s, uint8_t out[32]);
  void (*hmac_begin)(Hmac *h, const uint8_t *key, size_t key_n);
  void (*hmac_add)(Hmac *h, const void *data, size_t n);
  bool (*hmac_end)(Hmac *h, uint8_t out[32]);  // false: there was no memory for it, and `out` is nobody's MAC
  // point: 65 bytes uncompressed; sig: r || s, 64 bytes.
  Verified (*es256_verify)(const uint8_t point[65], const uint8_t digest[32], const uint8_t sig[64]);
  // AES-256-GCM (NIST SP 800-38D), opened in place; n is at most kSealedBytes. kBad: the tag is not that of data and aad. The data is
  // wiped unless it is good.
  Verified (*aes256_gcm_open)(const uint8_t key[32], const uint8_t iv[12], const void *aad, size_t aad_n, uint8_t *data, size_t n,
                          const uint8_t tag[16]);
};

struct Announcement {
  const char *node;
  const char *release;
  const char *image16;  // 16 hex digits
  const char *board;
  const char *phase;
};

struct Port {
  void *ctx;
  // pins
  bool (*probe_is_low)(void *ctx, uint8_t pin, uint8_t pull);  // pull-up on, settle, read, pull-up off
  void (*relay)(void *ctx, uint8_t pin, bool level_high);      // makes the pin an output at that level
  // clock: both monotonic. process_ms runs faster than now_ms on the bench only (simulated water), else they are equal.
  uint64_t (*now_ms)(void *ctx);
  uint64_t (*process_ms)(void *ctx);
  // flash
  Flash *flash;
  // sockets: handles 0..kConnections (limits.h), one more than are served, to say that all are taken; recv and send return bytes
  // done, 0 for "not now", -1 for "over"
  int (*accept)(void *ctx);  // the lowest free handle, or -1
  int (*recv)(void *ctx, int handle, uint8_t *to, size_t n);
  int (*send)(void *ctx, int handle, const uint8_t *from, size_t n);
  void (*close)(void *ctx, int handle);
  // announce (RFC 6762/6763); called again whenever something in it changed
  void (*announce)(void *ctx, const Announcement *what);
  void (*goodbye)(void *ctx);
  // the rest
  void (*restart)(void *ctx);  // does not return on a chip; on a test double it may
  void (*feed_watchdog)(void *ctx);
  void (*random)(void *ctx, uint8_t *to, size_t n);
  uint32_t (*free_bytes)(void *ctx);
  bool (*rssi_dbm)(void *ctx, int16_t *to);  // false: no radio
  bool (*network_up)(void *ctx);
  void (*mac)(void *ctx, uint8_t to[6]);
  Reset (*reset_reason)(void *ctx);
  const Crypto *crypto;
  // radio: join that network and go on trying by itself; never open one. Null texts: radio off. When to do which is the core's
  // affair (join.h); network_up() says how it went.
  void (*join)(void *ctx, const char *network, const char *passphrase);
  // serial console (console.h); both null where there is none
  int (*console_read)(void *ctx);                                  // one byte, or -1: none now
  size_t (*console_write)(void *ctx, const char *from, size_t n);  // bytes taken, 0 for "not now"; never waits
  // Null: always. False: a restart would not come back by itself (an ESP8266 that was loaded over its serial line and has not been
  // without power since), so nothing is taken that ends in one.
  bool (*can_restart)(void *ctx) = nullptr;
  // The largest block of memory that could be had at once. Null: not known.
  uint32_t (*largest_block)(void *ctx) = nullptr;
  // The access point that the node is joined to. False: none. Null: no radio.
  bool (*access_point)(void *ctx, uint8_t bssid[6], uint8_t *channel) = nullptr;
  // Whether the chip has such a pin, for reading or for driving it, and it is not the flash's: a node block that names another is as
  // good as damaged. Null: it has them all.
  bool (*has_pin)(void *ctx, uint8_t pin, bool drives) = nullptr;
  // The supply gave way in this trial, though this start may have another cause: draw less until the next one. Null: nothing to spare.
  void (*spare_supply)(void *ctx) = nullptr;
  // The pin that feeds the resistors of a tank's probes. On: HIGH, and long enough for them to settle. Off: a floating input. Each
  // port has it; it may be null only where no block names such a pin.
  void (*feed)(void *ctx, uint8_t pin, bool on) = nullptr;
};

}  // namespace tn

#endif
