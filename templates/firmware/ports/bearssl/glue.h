// tn::Crypto from BearSSL, as the ports that have it share it: all but the verification, for which each has its own curve code.
// BearSSL's header goes by another name in each port, so the source that includes this one includes that one first.
#ifndef TN_BEARSSL_GLUE_H
#define TN_BEARSSL_GLUE_H

#include <string.h>

#include "../../core/port.h"

namespace tn {
namespace bearssl {

static_assert(sizeof(br_sha256_context) <= sizeof(Sha256::room), "the context fits in the room that the core keeps");
static_assert(sizeof(br_hmac_context) <= sizeof(Hmac::room), "and this one");

inline br_sha256_context *context(Sha256 *s) { return reinterpret_cast<br_sha256_context *>(s->room); }

inline void begin(Sha256 *s) { br_sha256_init(context(s)); }
inline void add(Sha256 *s, const void *data, size_t n) { br_sha256_update(context(s), data, n); }
inline void end(Sha256 *s, uint8_t out[32]) { br_sha256_out(context(s), out); }

inline br_hmac_context *context(Hmac *h) { return reinterpret_cast<br_hmac_context *>(h->room); }

inline void hmac_begin(Hmac *h, const uint8_t *key, size_t key_n) {
  br_hmac_key_context prepared;
  br_hmac_key_init(&prepared, &br_sha256_vtable, key, key_n);
  br_hmac_init(context(h), &prepared, 0);
}
inline void hmac_add(Hmac *h, const void *data, size_t n) { br_hmac_update(context(h), data, n); }
inline bool hmac_end(Hmac *h, uint8_t out[32]) {
  br_hmac_out(context(h), out);
  return true;  // it takes nothing from the heap
}

// The constant-time code, without tables: there is little of anything else, and 99 bytes are opened once in a long while.
inline Verified open(const uint8_t key[32], const uint8_t iv[12], const void *aad, size_t aad_n, uint8_t *data, size_t n,
                 const uint8_t tag[16]) {
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
  return good ? Verified::kGood : Verified::kBad;
}

// The key of a verification. `copy` lives as long as it: BearSSL's key structure is not const.
inline br_ec_public_key key_of(const uint8_t point[65], uint8_t copy[65]) {
  memcpy(copy, point, 65);
  return {BR_EC_secp256r1, copy, 65};
}

constexpr Crypto crypto_with(decltype(Crypto::es256_verify) verify) {
  return {begin, add, end, hmac_begin, hmac_add, hmac_end, verify, open};
}

}  // namespace bearssl
}  // namespace tn

#endif
