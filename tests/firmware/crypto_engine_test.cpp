// The ESP32 port's AES-GCM and verification over a model of what stands behind Mbed TLS's names on the S2, S3 and C3: engines with DMA.
// As esp-idf 4.4.7 has them, mbedtls/port/aes/esp_aes_gcm.c and aes/dma/esp_aes.c: each block asks for descriptors; without them the
// output is wiped and -1 comes back (esp_aes.c:380-384), which esp_aes_gcm_starts() drops for the block that the tag's key is made of
// (esp_aes_gcm.c:404), so that the tag comes out wrong; esp_aes_gcm_update() and _finish() hand it on (:471, :508).
#include <string.h>

#include "check.h"
#include "ports/esp32/crypto_mbedtls.h"
#include "ports/esp32/idf.h"

namespace {

int asked = 0, refuse_first = 0, refuse_n = 0;  // requests for descriptors: so many are refused, from that one on; 1 is the first
bool right_tag = true;
int verify_error = 0;

bool descriptors() {
  ++asked;
  return asked < refuse_first || asked >= refuse_first + refuse_n;
}

}  // namespace

extern "C" {
void esp_fill_random(void *buf, size_t len) { memset(buf, 7, len); }
int mbedtls_gcm_setkey(mbedtls_gcm_context *, mbedtls_cipher_id_t, const unsigned char *, unsigned int) { return 0; }
int mbedtls_gcm_auth_decrypt(mbedtls_gcm_context *, size_t n, const unsigned char *, size_t, const unsigned char *, size_t,
                             const unsigned char *, size_t, const unsigned char *, unsigned char *to) {
  const bool has_key = descriptors();
  memset(to, 0, n);
  if (!descriptors() || !descriptors()) return -1;  // the text, then the tag
  if (!has_key || !right_tag) return MBEDTLS_ERR_GCM_AUTH_FAILED;
  memset(to, 'x', n);
  return 0;
}
int mbedtls_ecdsa_verify(mbedtls_ecp_group *, const unsigned char *, size_t, const mbedtls_ecp_point *, const mbedtls_mpi *,
                         const mbedtls_mpi *) {
  return verify_error;
}
}

namespace {

tn::Verified open(uint8_t *data) {
  const uint8_t key[32] = {}, iv[12] = {}, tag[16] = {};
  asked = 0;
  memset(data, 'y', 20);
  return tn::mbedtls_crypto()->aes256_gcm_open(key, iv, "", 0, data, 20, tag);
}

void no_descriptors_say_nothing_of_the_seal() {
  uint8_t data[20], wiped[20] = {};
  refuse_n = 0;
  right_tag = true;
  CHECK(open(data) == tn::Verified::kGood && data[0] == 'x' && data[19] == 'x');
  for (int first = 1; first <= 3; ++first) {
    refuse_first = first;
    refuse_n = 1;  // for a moment
    const tn::Verified came = open(data);
    CHECK(came == (first == 1 ? tn::Verified::kGood : tn::Verified::kNoMemory));
    CHECK(first == 1 || memcmp(data, wiped, sizeof data) == 0);
    refuse_n = 1000;  // for good
    CHECK(open(data) == tn::Verified::kNoMemory && memcmp(data, wiped, sizeof data) == 0);
  }
  refuse_n = 0;
  right_tag = false;
  CHECK(open(data) == tn::Verified::kBad && memcmp(data, wiped, sizeof data) == 0);
}

// -1: of SHA-256 by the engine (sha/dma/sha.c:221,268), under the generator that blinds the points.
void an_error_that_is_not_of_the_signature_is_none() {
  uint8_t point[65] = {4}, digest[32] = {}, signature[64] = {};
  const uint8_t base[64] = {  // the curve's base point, which lies on it (FIPS 186-4, D.1.2.3)
      0x6b, 0x17, 0xd1, 0xf2, 0xe1, 0x2c, 0x42, 0x47, 0xf8, 0xbc, 0xe6, 0xe5, 0x63, 0xa4, 0x40, 0xf2, 0x77, 0x03, 0x7d, 0x81, 0x2d, 0xeb,
      0x33, 0xa0, 0xf4, 0xa1, 0x39, 0x45, 0xd8, 0x98, 0xc2, 0x96, 0x4f, 0xe3, 0x42, 0xe2, 0xfe, 0x1a, 0x7f, 0x9b, 0x8e, 0xe7, 0xeb, 0x4a,
      0x7c, 0x0f, 0x9e, 0x16, 0x2b, 0xce, 0x33, 0x57, 0x6b, 0x31, 0x5e, 0xce, 0xcb, 0xb6, 0x40, 0x68, 0x37, 0xbf, 0x51, 0xf5};
  memcpy(point + 1, base, sizeof base);
  const struct {
    int error;
    tn::Verified told;
  } rows[] = {{0, tn::Verified::kGood},
              {MBEDTLS_ERR_ECP_VERIFY_FAILED, tn::Verified::kBad},
              {MBEDTLS_ERR_ECP_BAD_INPUT_DATA, tn::Verified::kBad},
              {-1, tn::Verified::kNoMemory},
              {MBEDTLS_ERR_ECP_RANDOM_FAILED, tn::Verified::kNoMemory},
              {MBEDTLS_ERR_ECP_ALLOC_FAILED, tn::Verified::kNoMemory},
              {MBEDTLS_ERR_MPI_ALLOC_FAILED, tn::Verified::kNoMemory}};
  for (const auto &row : rows) {
    verify_error = row.error;
    CHECK(tn::mbedtls_crypto()->es256_verify(point, digest, signature) == row.told);
  }
}

}  // namespace

int main() {
  RUN(no_descriptors_say_nothing_of_the_seal);
  RUN(an_error_that_is_not_of_the_signature_is_none);
  return check_result();
}
