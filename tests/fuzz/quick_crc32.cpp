// The core's CRC-32 with tables: the core's own, bit by bit under the sanitizers, would take nearly all the time of a target
// that seals and checks records. That the core's is right is tested against zlib elsewhere; that this is the same, at the start.
#include <string.h>

#include "core/crc32.h"
#include "fuzz.h"

#define UNWATCHED __attribute__((no_sanitize("address", "undefined", "coverage")))

namespace {

struct Tables {
  uint32_t at[8][256];
  UNWATCHED Tables() {
    for (uint32_t i = 0; i < 256; ++i) {
      uint32_t crc = i;
      for (int bit = 0; bit < 8; ++bit) crc = (crc & 1u) != 0 ? crc >> 1 ^ 0xEDB88320u : crc >> 1;
      at[0][i] = crc;
    }
    for (int k = 1; k < 8; ++k)
      for (uint32_t i = 0; i < 256; ++i) at[k][i] = at[k - 1][i] >> 8 ^ at[0][at[k - 1][i] & 0xFFu];
  }
};

}  // namespace

namespace tn {

UNWATCHED uint32_t crc32_more(uint32_t crc, const void *data, size_t n) {
  static const Tables tables;
  const uint8_t *bytes = static_cast<const uint8_t *>(data);
  MUST(n == 0 || __asan_region_is_poisoned(const_cast<uint8_t *>(bytes), n) == nullptr);
  crc = ~crc;
  for (; n >= 8; n -= 8, bytes += 8) {
    uint32_t low, high;
    memcpy(&low, bytes, 4);
    memcpy(&high, bytes + 4, 4);
    low ^= crc;
    crc = tables.at[7][low & 0xFFu] ^ tables.at[6][low >> 8 & 0xFFu] ^ tables.at[5][low >> 16 & 0xFFu] ^ tables.at[4][low >> 24] ^
          tables.at[3][high & 0xFFu] ^ tables.at[2][high >> 8 & 0xFFu] ^ tables.at[1][high >> 16 & 0xFFu] ^ tables.at[0][high >> 24];
  }
  for (; n > 0; --n) crc = crc >> 8 ^ tables.at[0][(crc ^ *bytes++) & 0xFFu];
  return ~crc;
}

uint32_t crc32(const void *data, size_t n) {
  static const bool right = crc32_more(0, "123456789", 9) == 0xCBF43926u;  // the check value of that CRC, as its catalogues give it
  MUST(right);
  return crc32_more(0, data, n);
}

}  // namespace tn
