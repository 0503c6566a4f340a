// A tn::Crypto that counts: each digest and MAC that is begun has its end, none is added to or ended that was not begun.
#ifndef TN_TEST_DIGEST_COUNT_H
#define TN_TEST_DIGEST_COUNT_H

#include <stddef.h>
#include <stdint.h>

#include "core/port.h"

namespace digest_count {

constexpr int kMost = 16;
inline const tn::Crypto *below;      // does the work
inline const void *begun[kMost];     // contexts
inline int open_now = 0, begun_ever = 0, begun_twice = 0, strays = 0;

inline int place_of(const void *context) {
  for (int i = 0; i < open_now; ++i)
    if (begun[i] == context) return i;
  return -1;
}
inline void note_begin(const void *context) {
  ++begun_ever;
  if (place_of(context) >= 0) ++begun_twice;
  else if (open_now < kMost) begun[open_now++] = context;
  else ++strays;
}
inline void note_use(const void *context) { strays += place_of(context) < 0 ? 1 : 0; }
inline void note_end(const void *context) {
  const int at = place_of(context);
  strays += at < 0 ? 1 : 0;
  if (at >= 0) begun[at] = begun[--open_now];
}

inline void begin(tn::Sha256 *s) { note_begin(s); below->sha256_begin(s); }
inline void add(tn::Sha256 *s, const void *data, size_t n) { note_use(s); below->sha256_add(s, data, n); }
inline void end(tn::Sha256 *s, uint8_t out[32]) { note_end(s); below->sha256_end(s, out); }
inline void hmac_begin(tn::Hmac *h, const uint8_t *key, size_t n) { note_begin(h); below->hmac_begin(h, key, n); }
inline void hmac_add(tn::Hmac *h, const void *data, size_t n) { note_use(h); below->hmac_add(h, data, n); }
inline bool hmac_end(tn::Hmac *h, uint8_t out[32]) { note_end(h); return below->hmac_end(h, out); }

inline const tn::Crypto *over(const tn::Crypto *crypto) {
  static tn::Crypto made;
  below = crypto;
  made = *crypto;
  made.sha256_begin = begin;
  made.sha256_add = add;
  made.sha256_end = end;
  made.hmac_begin = hmac_begin;
  made.hmac_add = hmac_add;
  made.hmac_end = hmac_end;
  return &made;
}

// All was ended, and nothing happened out of turn.
inline bool even() { return open_now == 0 && begun_twice == 0 && strays == 0; }
inline void forget() { open_now = begun_twice = strays = 0; }

}  // namespace digest_count

#endif
