#include "crypto_mbedtls.h"

#include <string.h>

#include "idf.h"

namespace tn {

namespace {

static_assert(sizeof(idf::mbedtls_sha256_context) <= sizeof(Sha256::room), "the context fits in the room that the core keeps");
static_assert(sizeof(idf::mbedtls_md_context_t) <= sizeof(Hmac::room), "and this one");
static_assert(alignof(idf::mbedtls_sha256_context) <= alignof(Sha256), "and is aligned there");

idf::mbedtls_sha256_context *context(Sha256 *s) { return reinterpret_cast<idf::mbedtls_sha256_context *>(s->room); }

void begin(Sha256 *s) {
  idf::mbedtls_sha256_init(context(s));
  idf::mbedtls_sha256_starts_ret(context(s), 0);
}

void add(Sha256 *s, const void *data, size_t n) {
  idf::mbedtls_sha256_update_ret(context(s), static_cast<const unsigned char *>(data), n);
}

void end(Sha256 *s, uint8_t out[32]) {
  idf::mbedtls_sha256_finish_ret(context(s), out);
  idf::mbedtls_sha256_free(context(s));
}

idf::mbedtls_md_context_t *context(Hmac *h) { return reinterpret_cast<idf::mbedtls_md_context_t *>(h->room); }

// A context that was let go refuses all that follows, so that no MAC is made of a part of the data.
void keep_if(bool good, Hmac *h) {
  if (!good) idf::mbedtls_md_free(context(h));
}

void hmac_begin(Hmac *h, const uint8_t *key, size_t key_n) {
  idf::mbedtls_md_init(context(h));
  keep_if(idf::mbedtls_md_setup(context(h), idf::mbedtls_md_info_from_type(idf::MBEDTLS_MD_SHA256), 1) == 0 &&
              idf::mbedtls_md_hmac_starts(context(h), key, key_n) == 0,
          h);
}

void hmac_add(Hmac *h, const void *data, size_t n) {
  keep_if(idf::mbedtls_md_hmac_update(context(h), static_cast<const unsigned char *>(data), n) == 0, h);
}

bool hmac_end(Hmac *h, uint8_t out[32]) {
  const bool made = idf::mbedtls_md_hmac_finish(context(h), out) == 0;
  if (!made) idf::esp_fill_random(out, 32);  // matches nothing that anybody sent, should it be used for all that
  idf::mbedtls_md_free(context(h));
  return made;
}

// Bad is only what the library says of the key or the signature. All else is want of memory, which also comes as -1 and not as an
// error of Mbed TLS: the engines of the S2, S3 and C3 give that back when there are no DMA descriptors or no channel to be had
// (esp-idf 4.4.7, mbedtls/port/aes/dma/esp_aes.c and sha/dma/sha.c).
Verified verdict(int error) {
  switch (error) {
    case 0: return Verified::kGood;
    case MBEDTLS_ERR_ECP_VERIFY_FAILED:
    case MBEDTLS_ERR_ECP_BAD_INPUT_DATA:       // a point that is none, by its first byte
    case MBEDTLS_ERR_ECP_FEATURE_UNAVAILABLE:  // likewise, compressed
    case MBEDTLS_ERR_ECP_INVALID_KEY:          // not on the curve
    case MBEDTLS_ERR_GCM_AUTH_FAILED: return Verified::kBad;
    default: return Verified::kNoMemory;
  }
}

Verified verify(const uint8_t point[65], const uint8_t digest[32], const uint8_t sig[64]) {
  idf::mbedtls_ecp_group group;
  idf::mbedtls_ecp_point key;
  idf::mbedtls_mpi r, s;
  idf::mbedtls_ecp_group_init(&group);
  idf::mbedtls_ecp_point_init(&key);
  idf::mbedtls_mpi_init(&r);
  idf::mbedtls_mpi_init(&s);
  int error = idf::mbedtls_ecp_group_load(&group, idf::MBEDTLS_ECP_DP_SECP256R1);
  if (error == 0) error = idf::mbedtls_ecp_point_read_binary(&group, &key, point, 65);
  if (error == 0) error = idf::mbedtls_ecp_check_pubkey(&group, &key);
  if (error == 0) error = idf::mbedtls_mpi_read_binary(&r, sig, 32);
  if (error == 0) error = idf::mbedtls_mpi_read_binary(&s, sig + 32, 32);
  if (error == 0) error = idf::mbedtls_ecdsa_verify(&group, digest, 32, &key, &r, &s);
  idf::mbedtls_mpi_free(&s);
  idf::mbedtls_mpi_free(&r);
  idf::mbedtls_ecp_point_free(&key);
  idf::mbedtls_ecp_group_free(&group);
  return verdict(error);
}

int open_once(const uint8_t key[32], const uint8_t iv[12], const void *aad, size_t aad_n, const uint8_t *sealed, size_t n,
              const uint8_t tag[16], uint8_t *to) {
  idf::mbedtls_gcm_context gcm;
  idf::mbedtls_gcm_init(&gcm);
  int error = idf::mbedtls_gcm_setkey(&gcm, idf::MBEDTLS_CIPHER_ID_AES, key, 256);
  if (error == 0) {
    error = idf::mbedtls_gcm_auth_decrypt(&gcm, n, iv, 12, static_cast<const unsigned char *>(aad), aad_n, tag, 16, sealed, to);
  }
  idf::mbedtls_gcm_free(&gcm);
  return error;
}

// Mbed TLS does not promise to decrypt in place, so what is decrypted is a copy. A tag that does not match is looked at twice: on the
// S3 and C3 esp_aes_gcm_starts() drops the result of the block that the tag's key comes from (esp_aes_gcm.c:404), so that a moment
// without memory can make a good tag a bad one. Where the want lasts, the next block says so.
Verified open(const uint8_t key[32], const uint8_t iv[12], const void *aad, size_t aad_n, uint8_t *data, size_t n, const uint8_t tag[16]) {
  uint8_t sealed[kSealedBytes];
  if (n > sizeof sealed) return Verified::kBad;
  memcpy(sealed, data, n);
  Verified came = verdict(open_once(key, iv, aad, aad_n, sealed, n, tag, data));
  if (came == Verified::kBad) came = verdict(open_once(key, iv, aad, aad_n, sealed, n, tag, data));
  if (came != Verified::kGood) memset(data, 0, n);
  return came;
}

const Crypto kCrypto = {begin, add, end, hmac_begin, hmac_add, hmac_end, verify, open};

}  // namespace

const Crypto *mbedtls_crypto() { return &kCrypto; }

}  // namespace tn
