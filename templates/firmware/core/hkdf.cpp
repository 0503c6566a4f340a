#include "hkdf.h"

namespace tn {

namespace {

constexpr size_t kBlockBytes = 32;

void add(const Crypto &crypto, Hmac *hmac, Slice part) {
  if (part.n > 0) crypto.hmac_add(hmac, part.at, part.n);
}

const uint8_t *bytes(Slice part) { return reinterpret_cast<const uint8_t *>(part.at); }

}  // namespace

bool hkdf_sha256(const Crypto &crypto, Slice key, Slice salt, Slice info, Slice more_info, uint8_t *out, size_t n) {
  if (n > 255 * kBlockBytes) return false;
  Hmac hmac;
  uint8_t secret[kBlockBytes], block[kBlockBytes];
  crypto.hmac_begin(&hmac, bytes(salt), salt.n);  // no salt is a key of zeros, and so is the empty key (RFC 2104)
  add(crypto, &hmac, key);
  if (!crypto.hmac_end(&hmac, secret)) return false;
  for (size_t done = 0; done < n; done += kBlockBytes) {
    const uint8_t number = static_cast<uint8_t>(done / kBlockBytes + 1);
    crypto.hmac_begin(&hmac, secret, sizeof secret);
    if (done > 0) crypto.hmac_add(&hmac, block, sizeof block);
    add(crypto, &hmac, info);
    add(crypto, &hmac, more_info);
    crypto.hmac_add(&hmac, &number, sizeof number);
    if (!crypto.hmac_end(&hmac, block)) return false;
    memcpy(out + done, block, n - done < kBlockBytes ? n - done : kBlockBytes);
  }
  return true;
}

}  // namespace tn
