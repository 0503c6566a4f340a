#include "crypto_chip.h"

#include "core_names.h"  // BearSSL's header too
#include "../bearssl/glue.h"

namespace {

// What the verification on the second stack needs; the thunk hands on what fits into registers.
struct Question {
  br_ec_public_key key;
  const uint8_t *digest;
  const uint8_t *signature;
};

}  // namespace

// i15 and m15: the variants with 16-bit words, for a processor whose multiplication of 32 bits gives 32.
extern "C" uint32_t tn_verify_es256(const Question *asked) {
  return br_ecdsa_i15_vrfy_raw(&br_ec_p256_m15, asked->digest, 32, &asked->key, asked->signature, 64);
}
extern "C" uint32_t thunk_tn_verify_es256(const Question *asked);
make_stack_thunk(tn_verify_es256);

namespace tn {

namespace {

// Takes about half a second, in which nothing else happens.
Verified verify(const uint8_t point[65], const uint8_t digest[32], const uint8_t sig[64]) {
  uint8_t copy[65];
  const Question question = {bearssl::key_of(point, copy), digest, sig};
  if (!core::take_big_stack()) return Verified::kNoMemory;
  core::feed_watchdog();
  const bool good = thunk_tn_verify_es256(&question) == 1;
  core::give_big_stack();
  return good ? Verified::kGood : Verified::kBad;
}

constexpr Crypto kCrypto = bearssl::crypto_with(verify);

}  // namespace

const Crypto *chip_crypto() { return &kCrypto; }

}  // namespace tn
