// The ESP32 port's crypto over Mbed TLS 2.28 as Debian builds it (the version that esp-idf 4.4.7 brings), against published values.
#include <string.h>

#include "check.h"
#include "ports/esp32/crypto_mbedtls.h"

extern "C" void esp_fill_random(void *buf, size_t len) { memset(buf, 0xA5, len); }

namespace {

const tn::Crypto &crypto = *tn::mbedtls_crypto();

void unhex(const char *hex, uint8_t *to) {
  for (size_t i = 0; hex[2 * i] != '\0'; ++i) {
    unsigned byte = 0;
    sscanf(hex + 2 * i, "%2x", &byte);
    to[i] = static_cast<uint8_t>(byte);
  }
}

bool is(const uint8_t *bytes, const char *hex) {
  uint8_t wanted[64];
  unhex(hex, wanted);
  return memcmp(bytes, wanted, strlen(hex) / 2) == 0;
}

// FIPS 180-4, example values of NIST for "abc"; a million "a".
void sha256() {
  tn::Sha256 sha, other;
  uint8_t digest[32], piece[1000];
  crypto.sha256_begin(&sha);
  crypto.sha256_add(&sha, "a", 1);
  crypto.sha256_begin(&other);  // two at once
  crypto.sha256_add(&sha, "bc", 2);
  crypto.sha256_end(&sha, digest);
  CHECK(is(digest, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"));
  memset(piece, 'a', sizeof piece);
  for (int i = 0; i < 1000; ++i) crypto.sha256_add(&other, piece, sizeof piece);
  crypto.sha256_end(&other, digest);
  CHECK(is(digest, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"));
}

void hmac_of(const uint8_t *key, size_t key_n, const char *text, size_t n, uint8_t out[32]) {
  tn::Hmac mac;
  crypto.hmac_begin(&mac, key, key_n);
  for (size_t i = 0; i < n; i += 5) crypto.hmac_add(&mac, text + i, n - i < 5 ? n - i : 5);
  crypto.hmac_end(&mac, out);
}

// RFC 4231, test cases 1, 2 and 6 (a key longer than a block), in pieces of five bytes.
void hmac() {
  uint8_t out[32], key[131];
  memset(key, 0x0b, 20);
  hmac_of(key, 20, "Hi There", 8, out);
  CHECK(is(out, "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"));
  const char what[] = "what do ya want for nothing?";
  hmac_of(reinterpret_cast<const uint8_t *>("Jefe"), 4, what, strlen(what), out);
  CHECK(is(out, "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"));
  memset(key, 0xaa, sizeof key);
  const char larger[] = "Test Using Larger Than Block-Size Key - Hash Key First";
  hmac_of(key, sizeof key, larger, strlen(larger), out);
  CHECK(is(out, "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"));
}

// RFC 6979 A.2.5: P-256, SHA-256, message "sample".
void es256() {
  uint8_t point[65], digest[32], signature[64];
  point[0] = 4;
  unhex("60FED4BA255A9D31C961EB74C6356D68C049B8923B61FA6CE669622E60F29FB6", point + 1);
  unhex("7903FE1008B8BC99A41AE9E95628BC64F2F1B20C2D7E9F5177A3C294D4462299", point + 33);
  unhex("EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716", signature);
  unhex("F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8", signature + 32);
  tn::Sha256 sha;
  crypto.sha256_begin(&sha);
  crypto.sha256_add(&sha, "sample", 6);
  crypto.sha256_end(&sha, digest);
  CHECK(crypto.es256_verify(point, digest, signature) == tn::Verified::kGood);
  for (size_t bit = 0; bit < 512; bit += 7) {
    signature[bit / 8] = static_cast<uint8_t>(signature[bit / 8] ^ 1u << bit % 8);
    CHECK(crypto.es256_verify(point, digest, signature) == tn::Verified::kBad);
    signature[bit / 8] = static_cast<uint8_t>(signature[bit / 8] ^ 1u << bit % 8);
  }
  point[40] ^= 1;  // not on the curve
  CHECK(crypto.es256_verify(point, digest, signature) == tn::Verified::kBad);
  point[40] ^= 1;
  uint8_t zero[64];
  memset(zero, 0, sizeof zero);
  CHECK(crypto.es256_verify(point, digest, zero) == tn::Verified::kBad);
  CHECK(crypto.es256_verify(point, digest, signature) == tn::Verified::kGood);
}

}  // namespace

int main() {
  RUN(sha256);
  RUN(hmac);
  RUN(es256);
  return check_result();
}
