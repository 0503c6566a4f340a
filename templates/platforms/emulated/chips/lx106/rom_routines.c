// Division and 64-bit arithmetic that the ESP8266 has in its ROM and that Debian's libgcc for the lx106 therefore leaves out.
// Plain long division, a bit at a time: right, and slower than the ROM's. Names and meaning: GCC internals manual, "Routines for
// integer arithmetic".
#include <stdint.h>

uint32_t __udivsi3(uint32_t a, uint32_t b);
uint32_t __umodsi3(uint32_t a, uint32_t b);
int32_t __divsi3(int32_t a, int32_t b);
uint64_t __udivdi3(uint64_t a, uint64_t b);
uint64_t __umoddi3(uint64_t a, uint64_t b);
int64_t __divdi3(int64_t a, int64_t b);
uint64_t __muldi3(uint64_t a, uint64_t b);
uint64_t __umulsidi3(uint32_t a, uint32_t b);

#define DIVIDE(type, bits)                 \
  type quotient = 0, rest = 0;             \
  for (int bit = (bits) - 1; bit >= 0; --bit) { \
    const type carry = rest >> ((bits) - 1);  \
    rest = rest << 1 | (a >> bit & 1u);    \
    if (carry != 0 || rest >= b) {         \
      rest -= b;                           \
      quotient |= (type)1 << bit;          \
    }                                      \
  }

uint32_t __udivsi3(uint32_t a, uint32_t b) {
  DIVIDE(uint32_t, 32)
  return quotient;
}

uint32_t __umodsi3(uint32_t a, uint32_t b) {
  DIVIDE(uint32_t, 32)
  (void)quotient;
  return rest;
}

static uint32_t size_of(int32_t a) { return a < 0 ? 0u - (uint32_t)a : (uint32_t)a; }

int32_t __divsi3(int32_t a, int32_t b) {
  const uint32_t quotient = __udivsi3(size_of(a), size_of(b));
  return (int32_t)((a < 0) == (b < 0) ? quotient : 0u - quotient);
}

uint64_t __udivdi3(uint64_t a, uint64_t b) {
  if ((a >> 32) == 0 && (b >> 32) == 0) return __udivsi3((uint32_t)a, (uint32_t)b);
  DIVIDE(uint64_t, 64)
  return quotient;
}

uint64_t __umoddi3(uint64_t a, uint64_t b) {
  if ((a >> 32) == 0 && (b >> 32) == 0) return __umodsi3((uint32_t)a, (uint32_t)b);
  DIVIDE(uint64_t, 64)
  (void)quotient;
  return rest;
}

int64_t __divdi3(int64_t a, int64_t b) {
  const uint64_t x = a < 0 ? 0u - (uint64_t)a : (uint64_t)a, y = b < 0 ? 0u - (uint64_t)b : (uint64_t)b;
  const uint64_t quotient = __udivdi3(x, y);
  return (int64_t)((a < 0) == (b < 0) ? quotient : 0u - quotient);
}

// Four products of 16 by 16 bits, none of which overflows 32.
uint64_t __umulsidi3(uint32_t a, uint32_t b) {
  const uint32_t al = a & 0xFFFFu, ah = a >> 16, bl = b & 0xFFFFu, bh = b >> 16;
  const uint32_t low = al * bl, mid = ah * bl + (low >> 16), cross = al * bh + (mid & 0xFFFFu);
  const uint32_t high = ah * bh + (mid >> 16) + (cross >> 16);
  union {
    struct {
      uint32_t low, high;
    } half;
    uint64_t whole;
  } product;
  product.half.low = cross << 16 | (low & 0xFFFFu);
  product.half.high = high;
  return product.whole;
}

uint64_t __muldi3(uint64_t a, uint64_t b) {
  const uint32_t al = (uint32_t)a, ah = (uint32_t)(a >> 32), bl = (uint32_t)b, bh = (uint32_t)(b >> 32);
  union {
    struct {
      uint32_t low, high;
    } half;
    uint64_t whole;
  } product;
  product.whole = __umulsidi3(al, bl);
  product.half.high += al * bh + ah * bl;
  return product.whole;
}
