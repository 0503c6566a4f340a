// A stand-in for SHA-256 in the mass runs of the power-cut tests, twenty times as quick. The slot logic only compares digests, and the
// tests judge by comparing cells with the image, never by a digest; the small runs use the real one. tests/firmware/test_firmware_sums.py
// shows that it tells messages apart.
#ifndef TN_TEST_FAST_DIGEST_H
#define TN_TEST_FAST_DIGEST_H

#include <string.h>

#include "core/port.h"

namespace fast_digest {

constexpr int kLanes = 8;  // a processor works on them side by side
constexpr size_t kBlock = kLanes * sizeof(uint64_t);

struct State {
  uint64_t sums[kLanes];  // of every eighth word
  uint64_t n;
  uint8_t part[kBlock];
};

inline uint64_t mix(uint64_t sum, uint64_t word) {
  sum = (sum ^ word) * 0x9E3779B97F4A7C15ull;
  return sum ^ sum >> 29;
}

static_assert(sizeof(State) <= tn::kSha256Bytes, "room for it");

inline State load(const tn::Sha256 *s) {
  State state;
  memcpy(&state, s->room, sizeof state);
  return state;
}

inline void begin(tn::Sha256 *s) { memset(s->room, 0, sizeof(State)); }

inline void mix_block(State *state, const uint8_t *block) {
  for (int i = 0; i < kLanes; ++i) {
    uint64_t word;
    memcpy(&word, block + 8 * i, 8);
    state->sums[i] = mix(state->sums[i], word);
  }
}

inline void add(tn::Sha256 *s, const void *data, size_t n) {
  State state = load(s);
  const uint8_t *bytes = static_cast<const uint8_t *>(data);
  while (n > 0) {
    const size_t held = state.n % kBlock, room = kBlock - held, part = n < room ? n : room;
    memcpy(state.part + held, bytes, part);
    state.n += part;
    bytes += part;
    n -= part;
    if (state.n % kBlock != 0) break;
    mix_block(&state, state.part);
    for (; n >= kBlock; n -= kBlock, bytes += kBlock, state.n += kBlock) mix_block(&state, bytes);
  }
  memcpy(s->room, &state, sizeof state);
}

inline void end(tn::Sha256 *s, uint8_t out[32]) {
  State state = load(s);
  memset(state.part + state.n % kBlock, 0, kBlock - state.n % kBlock);
  mix_block(&state, state.part);
  uint64_t sum = state.n;
  for (int i = 0; i < kLanes; ++i) sum = mix(sum, state.sums[i]);
  for (int i = 0; i < 4; ++i) {
    sum = mix(sum, 1);
    memcpy(out + 8 * i, &sum, 8);
  }
}

// Nothing but the digest.
inline tn::Crypto digest_only() {
  tn::Crypto made = {};
  made.sha256_begin = begin;
  made.sha256_add = add;
  made.sha256_end = end;
  return made;
}

inline const tn::Crypto *crypto() {
  static const tn::Crypto made = digest_only();
  return &made;
}

}  // namespace fast_digest

#endif
