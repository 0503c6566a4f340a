// The ESP8266 port's verification over the real BearSSL, with and without memory for its second stack. Compiled without the
// sanitizers, whose malloc() this program's own would shut out.
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "ports/esp8266/core_names.h"
#include "ports/esp8266/crypto_chip.h"

namespace {

size_t largest_block = 100000;  // what the heap has in one piece
int stacks, fed;

}  // namespace

extern "C" {
void *__libc_malloc(size_t n);
void *malloc(size_t n) { return n > largest_block ? nullptr : __libc_malloc(n); }

// StackThunk.cpp of the core: the stack is 6200 bytes, and abort() where there is no room for it.
void stack_thunk_add_ref() {
  if (largest_block < 6200) abort();
  ++stacks;
}
void stack_thunk_del_ref() { --stacks; }
// What make_stack_thunk() makes: the same function, on the other stack.
uint32_t tn_verify_es256(const void *asked);
uint32_t thunk_tn_verify_es256(const void *asked) { return stacks == 1 ? tn_verify_es256(asked) : 99; }
}
EspClass ESP;
void EspClass::wdtFeed() { ++fed; }

namespace {

uint8_t nibble(char c) { return static_cast<uint8_t>(c <= '9' ? c - '0' : c - 'A' + 10); }
void unhex(const char *text, uint8_t *to) {
  for (; text[0] != '\0'; text += 2) *to++ = static_cast<uint8_t>(nibble(text[0]) << 4 | nibble(text[1]));
}

uint8_t point[65], digest[32], signature[64];

tn::Verified verify() { return tn::chip_crypto()->es256_verify(point, digest, signature); }

// RFC 6979 A.2.5: P-256, SHA-256, message "sample"; its digest by sha256sum.
void without_memory_nothing_is_said_of_a_signature() {
  point[0] = 4;
  unhex("60FED4BA255A9D31C961EB74C6356D68C049B8923B61FA6CE669622E60F29FB6", point + 1);
  unhex("7903FE1008B8BC99A41AE9E95628BC64F2F1B20C2D7E9F5177A3C294D4462299", point + 33);
  unhex("AF2BDBE1AA9B6EC1E2ADE1D694F41FC71A831D0268E9891562113D8A62ADD1BF", digest);
  unhex("EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716", signature);
  unhex("F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8", signature + 32);
  CHECK(verify() == tn::Verified::kGood && stacks == 0 && fed == 1);
  const size_t blocks[] = {6264, 6263, 6200, 100};
  for (const size_t block : blocks) {
    for (int spoilt = 0; spoilt < 2; ++spoilt) {
      signature[7] = static_cast<uint8_t>(signature[7] ^ (spoilt == 1 ? 16 : 0));
      largest_block = block;
      const tn::Verified came = verify();
      largest_block = 100000;
      const tn::Verified told = spoilt == 1 ? tn::Verified::kBad : tn::Verified::kGood;
      CHECK(came == (block >= 6264 ? told : tn::Verified::kNoMemory) && stacks == 0);
      signature[7] = static_cast<uint8_t>(signature[7] ^ (spoilt == 1 ? 16 : 0));
    }
  }
}

}  // namespace

int main() {
  RUN(without_memory_nothing_is_said_of_a_signature);
  return check_result();
}
