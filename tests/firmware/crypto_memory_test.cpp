// The ESP32 port's verification, MAC and opening of a seal over the real Mbed TLS, with each request for memory refused in turn: what
// comes of it says nothing of the signature, the MAC or the seal. Compiled without the sanitizers, whose calloc() this program's own would shut out.
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

struct Refusing {
  Refusing(long at, bool all_after) {
    asked = 0;
    refuse_at = at;
    refuse_all_from = all_after ? at : 0;
  }
  ~Refusing() { refuse_at = refuse_all_from = 0; }
};

// RFC 4231, test case 2.
bool mac_of(uint8_t mac[32], long refused, bool all_after) {
  const Refusing now(refused, all_after);
  const tn::Crypto &crypto = *tn::mbedtls_crypto();
  tn::Hmac hmac;
  crypto.hmac_begin(&hmac, reinterpret_cast<const uint8_t *>("Jefe"), 4);
  crypto.hmac_add(&hmac, "what do ya want for nothing?", 28);
  return crypto.hmac_end(&hmac, mac);
}

void a_mac_without_memory_is_none() {
  uint8_t right[32], mac[32];
  unhex("5BDCC146BF60754E6A042426089575C75A003F089D2739839DEC58B964EC3843", right);
  CHECK(mac_of(mac, 0, false) && memcmp(mac, right, sizeof mac) == 0);
  const long all = asked;
  CHECK(all > 0);
  for (long at = 1; at <= all; ++at) {
    for (int turn = 0; turn < 2; ++turn) {
      const bool all_after = turn == 1;
      memcpy(mac, right, sizeof mac);
      CHECK(!mac_of(mac, at, all_after) && memcmp(mac, right, sizeof mac) != 0);
    }
  }
  CHECK(mac_of(mac, 0, false) && asked == all);
}

// The GCM specification's test case 14 (McGrew and Viega, appendix B): a key, an IV and a text of zeros.
tn::Verified opened(uint8_t tag_differs, uint8_t data[16], long refused, bool all_after) {
  const Refusing now(refused, all_after);
  const uint8_t key[32] = {}, iv[12] = {};
  uint8_t tag[16];
  unhex("CEA7403D4D606B6E074EC5D3BAF39D18", data);
  unhex("D0D1C8A799996BF0265B98B5D48AB919", tag);
  tag[5] ^= tag_differs;
  return tn::mbedtls_crypto()->aes256_gcm_open(key, iv, "", 0, data, 16, tag);
}

void a_seal_without_memory_is_not_broken() {
  const uint8_t zeros[16] = {};
  uint8_t data[16];
  CHECK(opened(0, data, 0, false) == tn::Verified::kGood && memcmp(data, zeros, sizeof data) == 0);
  const long all = asked;
  CHECK(all > 0);
  CHECK(opened(4, data, 0, false) == tn::Verified::kBad && memcmp(data, zeros, sizeof data) == 0);
  for (long at = 1; at <= all; ++at) {
    for (int turn = 0; turn < 2; ++turn) {
      const bool all_after = turn == 1;
      CHECK(opened(0, data, at, all_after) == tn::Verified::kNoMemory && memcmp(data, zeros, sizeof data) == 0);
      CHECK(opened(4, data, at, all_after) != tn::Verified::kGood);
    }
  }
  CHECK(opened(0, data, 0, false) == tn::Verified::kGood && asked == all);
}

}  // namespace

int main() {
  RUN(each_request_for_memory_refused_in_turn);
  RUN(a_mac_without_memory_is_none);
  RUN(a_seal_without_memory_is_not_broken);
  return check_result();
}
