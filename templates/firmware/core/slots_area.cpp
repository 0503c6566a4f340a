#include "slots_area.h"

#include <string.h>

namespace tn {

namespace {

constexpr uint32_t kPartBytes = 256;

bool same_sector(const Flash &flash, uint32_t one, uint32_t other) {
  uint8_t a[kPartBytes], b[kPartBytes];
  for (uint32_t done = 0; done < kSectorBytes; done += kPartBytes) {
    if (!flash.read(flash.ctx, one + done, a, kPartBytes) || !flash.read(flash.ctx, other + done, b, kPartBytes)) return false;
    if (memcmp(a, b, kPartBytes) != 0) return false;
  }
  return true;
}

}  // namespace

bool hash_sector(const Flash &flash, const Crypto &crypto, const Area &area, uint32_t bytes, uint32_t *done, Sha256 *sha) {
  uint8_t part[kPartBytes];
  const uint32_t end = bytes - *done < kSectorBytes ? bytes : *done + kSectorBytes;
  while (*done < end) {
    const uint32_t n = end - *done < kPartBytes ? end - *done : kPartBytes;
    if (!flash.read(flash.ctx, area.at + *done, part, n)) return false;
    crypto.sha256_add(sha, part, n);
    *done += n;
  }
  return true;
}

bool area_matches(const Flash &flash, const Crypto &crypto, const Area &area, uint32_t bytes, const uint8_t sha256[32]) {
  Sha256 sha;
  uint8_t digest[32];
  bool read = true;
  crypto.sha256_begin(&sha);
  for (uint32_t done = 0; read && done < bytes;) read = hash_sector(flash, crypto, area, bytes, &done, &sha);
  crypto.sha256_end(&sha, digest);
  return read && memcmp(digest, sha256, sizeof digest) == 0;
}

bool copy_sector(const Flash &flash, uint32_t from, uint32_t to) {
  if (same_sector(flash, from, to)) return true;
  if (!flash.erase(flash.ctx, to)) return false;
  uint8_t part[kPartBytes];
  for (uint32_t done = 0; done < kSectorBytes; done += kPartBytes) {
    if (!flash.read(flash.ctx, from + done, part, kPartBytes)) return false;
    if (!flash.program(flash.ctx, to + done, part, kPartBytes)) return false;
  }
  return same_sector(flash, from, to);
}

}  // namespace tn
