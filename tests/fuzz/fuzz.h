// What the fuzz targets share: a check that ends the run, memory that the sanitizer guards, and crypto that is quick enough.
#ifndef TN_FUZZ_H
#define TN_FUZZ_H

#include <sanitizer/asan_interface.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/port.h"
#include "ports/host/crypto_bearssl.h"

extern "C" int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n);
extern "C" size_t LLVMFuzzerMutate(uint8_t *data, size_t n, size_t most);

#define MUST(condition)                                                          \
  do {                                                                           \
    if (!(condition)) {                                                          \
      fprintf(stderr, "MUST %s at %s:%d\n", #condition, __FILE__, __LINE__);     \
      abort();                                                                   \
    }                                                                            \
  } while (0)

// A copy of its own, exactly as long as its content, so that the sanitizer sees any step beyond it.
struct Own {
  uint8_t *at;
  size_t n;
  Own(const void *from, size_t count) : at(static_cast<uint8_t *>(malloc(count > 0 ? count : 1))), n(count) {
    if (count > 0) memcpy(at, from, count);
  }
  ~Own() { free(at); }
  Own(const Own &) = delete;
  Own &operator=(const Own &) = delete;
};

// The input, read bit by bit; zeros when it is used up.
struct Input {
  const uint8_t *at;
  size_t left;
  uint8_t byte() {
    if (left == 0) return 0;
    --left;
    return *at++;
  }
};

// Stands in for ES256, which takes too long for millions of runs: r is the digest and s its complement.
inline void stand_in_sign(const uint8_t digest[32], uint8_t to[64]) {
  for (size_t i = 0; i < 32; ++i) {
    to[i] = digest[i];
    to[32 + i] = static_cast<uint8_t>(~digest[i]);
  }
}
inline tn::Verified stand_in_verify(const uint8_t point[65], const uint8_t digest[32], const uint8_t given[64]) {
  uint8_t right[64];
  stand_in_sign(digest, right);
  return point[0] == 4 && memcmp(given, right, sizeof right) == 0 ? tn::Verified::kGood : tn::Verified::kBad;
}

// Hashes and HMAC of BearSSL; signatures of the stand-in.
inline const tn::Crypto &fuzz_crypto() {
  static const tn::Crypto crypto = [] {
    tn::Crypto c = *tn::bearssl_crypto();
    c.es256_verify = stand_in_verify;
    return c;
  }();
  return crypto;
}

#endif
