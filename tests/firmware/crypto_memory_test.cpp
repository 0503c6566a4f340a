// The ESP32 port's verification over the real Mbed TLS, with each request for memory refused in turn: what comes of it says nothing
// of the signature. Compiled without the sanitizers, whose calloc() this program's own would shut out.
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "ports/esp32/crypto_mbedtls.h"
#include "ports/esp32/idf.h"

extern "C" {
void *__libc_calloc(size_t n, size_t size);

static long asked, refuse_at, refuse_all_from;

void *calloc(size_t n, size_t size) {
  ++asked;
  if (asked == refuse_at || (refuse_all_from != 0 && asked >= refuse_all_from)) return nullptr;
  return __libc_calloc(n, size);
}
void esp_fill_random(void *buf, size_t len) { memset(buf, 7, len); }
}

namespace {

uint8_t nibble(char c) { return static_cast<uint8_t>(c <= '9' ? c - '0' : c - 'A' + 10); }
void unhex(const char *text, uint8_t *to) {
  for (; text[0] != '\0'; text += 2) *to++ = static_cast<uint8_t>(nibble(text[0]) << 4 | nibble(text[1]));
}

uint8_t point[65], digest[32], good[64], bad[64];

tn::Verified verify(const uint8_t *signature, long refused, bool all_after) {
  asked = 0;
  refuse_at = refused;
  refuse_all_from = all_after ? refused : 0;
  const tn::Verified came = tn::mbedtls_crypto()->es256_verify(point, digest, signature);
  refuse_at = refuse_all_from = 0;
  return came;
}

// RFC 6979 A.2.5: P-256, SHA-256, message "sample"; its digest by FIPS 180-4 (sha256sum).
void each_request_for_memory_refused_in_turn() {
  point[0] = 4;
  unhex("60FED4BA255A9D31C961EB74C6356D68C049B8923B61FA6CE669622E60F29FB6", point + 1);
  unhex("7903FE1008B8BC99A41AE9E95628BC64F2F1B20C2D7E9F5177A3C294D4462299", point + 33);
  unhex("AF2BDBE1AA9B6EC1E2ADE1D694F41FC71A831D0268E9891562113D8A62ADD1BF", digest);
  unhex("EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716", good);
  unhex("F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8", good + 32);
  memcpy(bad, good, sizeof bad);
  bad[3] ^= 4;
  CHECK(verify(good, 0, false) == tn::Verified::kGood);
  const long all = asked;
  CHECK(all > 50);
  CHECK(verify(bad, 0, false) == tn::Verified::kBad);
  long without = 0, runs = 0;
  for (long at = 1; at <= all; at += at < 150 ? 1 : 41, ++runs) {
    const tn::Verified once = verify(good, at, false), for_good = verify(good, at, true);
    CHECK(once == tn::Verified::kNoMemory || once == tn::Verified::kGood);
    CHECK(for_good == tn::Verified::kNoMemory || for_good == tn::Verified::kGood);
    CHECK(verify(bad, at, true) != tn::Verified::kGood);
    without += for_good == tn::Verified::kNoMemory ? 1 : 0;
  }
  CHECK(without > runs / 2);
  CHECK(verify(good, 0, false) == tn::Verified::kGood && asked == all);  // what was taken was given back
}

}  // namespace

int main() {
  RUN(each_request_for_memory_refused_in_turn);
  return check_result();
}
