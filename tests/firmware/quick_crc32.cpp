// core/crc32.h with a large table, for the mass runs of the power-cut proof: the core's own, made for little memory, takes half of
// their time. tests/firmware/test_firmware_sums.py holds both to zlib's.
#include "core/crc32.h"

#include <string.h>

namespace tn {

namespace {

constexpr int kSlices = 16;  // bytes at a time

struct Tables {
  uint32_t of[kSlices][256];
  Tables() {
    for (uint32_t i = 0; i < 256; ++i) {
      uint32_t crc = i;
      for (int bit = 0; bit < 8; ++bit) crc = crc >> 1 ^ (crc & 1u) * 0xEDB88320u;
      of[0][i] = crc;
    }
    for (int slice = 1; slice < kSlices; ++slice)
      for (uint32_t i = 0; i < 256; ++i) of[slice][i] = of[slice - 1][i] >> 8 ^ of[0][of[slice - 1][i] & 255u];
  }
};
const Tables tables;

}  // namespace

uint32_t crc32_more(uint32_t crc, const void *data, size_t n) {
  const uint8_t *at = static_cast<const uint8_t *>(data);
  crc = ~crc;
  for (; n >= kSlices; n -= kSlices, at += kSlices) {
    uint32_t words[kSlices / 4];
    memcpy(words, at, sizeof words);
    words[0] ^= crc;
    crc = 0;
    for (int word = 0; word < kSlices / 4; ++word)
      for (int i = 0; i < 4; ++i) crc ^= tables.of[kSlices - 1 - 4 * word - i][words[word] >> (8 * i) & 255u];
  }
  for (; n > 0; --n, ++at) crc = crc >> 8 ^ tables.of[0][(crc ^ *at) & 255u];
  return ~crc;
}

uint32_t crc32(const void *data, size_t n) { return crc32_more(0, data, n); }

}  // namespace tn
