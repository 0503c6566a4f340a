#include "crypto_bearssl.h"

#include <bearssl.h>
#include <string.h>

namespace tn {

namespace {

static_assert(sizeof(br_sha256_context) <= sizeof(Sha256::room), "the context fits in the room that the core keeps");
static_assert(sizeof(br_hmac_context) <= sizeof(Hmac::room), "and this one");

br_sha256_context *context(Sha256 *s) { return reinterpret_cast<br_sha256_context *>(s->room); }

void begin(Sha256 *s) { br_sha256_init(context(s)); }
void add(Sha256 *s, const void *data, size_t n) { br_sha256_update(context(s), data, n); }
void end(Sha256 *s, uint8_t out[32]) { br_sha256_out(context(s), out); }

br_hmac_context *context(Hmac *h) { return reinterpret_cast<br_hmac_context *>(h->room); }

void hmac_begin(Hmac *h, const uint8_t *key, size_t key_n) {
  br_hmac_key_context prepared;
  br_hmac_key_init(&prepared, &br_sha256_vtable, key, key_n);
  br_hmac_init(context(h), &prepared, 0);
}
void hmac_add(Hmac *h, const void *data, size_t n) { br_hmac_update(context(h), data, n); }
void hmac_end(Hmac *h, uint8_t out[32]) { br_hmac_out(context(h), out); }

bool verify(const uint8_t point[65], const uint8_t digest[32], const uint8_t sig[64]) {
  uint8_t copy[65];  // BearSSL's key structure is not const
  for (size_t i = 0; i < sizeof copy; ++i) copy[i] = point[i];
  br_ec_public_key key;
  key.curve = BR_EC_secp256r1;
  key.q = copy;
  key.qlen = sizeof copy;
  return br_ecdsa_i31_vrfy_raw(&br_ec_p256_m31, digest, 32, &key, sig, 64) == 1;
}

// The constant-time code, without tables: there is little of anything else, and 99 bytes are opened once in a long while.
bool open(const uint8_t key[32], const uint8_t iv[12], const void *aad, size_t aad_n, uint8_t *data, size_t n, const uint8_t tag[16]) {
  br_aes_ct_ctr_keys aes;
  br_gcm_context gcm;
  br_aes_ct_ctr_init(&aes, key, 32);
  br_gcm_init(&gcm, &aes.vtable, br_ghash_ctmul32);
  br_gcm_reset(&gcm, iv, 12);
  br_gcm_aad_inject(&gcm, aad, aad_n);
  br_gcm_flip(&gcm);
  br_gcm_run(&gcm, 0, data, n);
  const bool good = br_gcm_check_tag(&gcm, tag) == 1;
  if (!good) memset(data, 0, n);
  return good;
}

const Crypto kCrypto = {begin, add, end, hmac_begin, hmac_add, hmac_end, verify, open};

}  // namespace

const Crypto *bearssl_crypto() { return &kCrypto; }

}  // namespace tn
