#include "crypto_bearssl.h"

#include <bearssl.h>

#include "../bearssl/glue.h"

namespace tn {

namespace {

Verified verify(const uint8_t point[65], const uint8_t digest[32], const uint8_t sig[64]) {
  uint8_t copy[65];
  const br_ec_public_key key = bearssl::key_of(point, copy);
  return br_ecdsa_i31_vrfy_raw(&br_ec_p256_m31, digest, 32, &key, sig, 64) == 1 ? Verified::kGood : Verified::kBad;
}

constexpr Crypto kCrypto = bearssl::crypto_with(verify);

}  // namespace

const Crypto *bearssl_crypto() { return &kCrypto; }

}  // namespace tn
