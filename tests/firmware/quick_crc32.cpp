// core/crc32.h with a large table, for the mass runs of the power-cut proof: the core's own, made for little memory, takes half of
// their time. The tests hold it to the core's.
#include "core/crc32.h"

#include <string.h>

namespace tn {

namespace {

struct Tables {
  uint32_t of[8][256];
  Tables() {
    for (uint32_t i = 0; i < 256; ++i) {
      uint32_t crc = i;
      for (int bit = 0; bit < 8; ++bit) crc = crc >> 1 ^ (crc & 1u) * 0xEDB88320u;
      of[0][i] = crc;
    }
    for (int slice = 1; slice < 8; ++slice)
      for (uint32_t i = 0; i < 256; ++i) of[slice][i] = of[slice - 1][i] >> 8 ^ of[0][of[slice - 1][i] & 255u];
  }
};
const Tables tables;

}  // namespace

uint32_t crc32_more(uint32_t crc, const void *data, size_t n) {
  const uint8_t *at = static_cast<const uint8_t *>(data);
  crc = ~crc;
  for (; n >= 8; n -= 8, at += 8) {
    uint32_t low, high;
    memcpy(&low, at, 4);
    memcpy(&high, at + 4, 4);
    low ^= crc;
    crc = 0;
    for (int i = 0; i < 4; ++i) crc ^= tables.of[7 - i][low >> (8 * i) & 255u] ^ tables.of[3 - i][high >> (8 * i) & 255u];
  }
  for (; n > 0; --n, ++at) crc = crc >> 8 ^ tables.of[0][(crc ^ *at) & 255u];
  return ~crc;
}

uint32_t crc32(const void *data, size_t n) { return crc32_more(0, data, n); }

}  // namespace tn
