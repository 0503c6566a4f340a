#include "cbor.h"

namespace tn {

namespace {

enum Major : uint8_t { kUnsigned = 0, kNegative = 1, kBytes = 2, kText = 3, kArray = 4, kMap = 5, kTag = 6 };

uint64_t refuse(Cbor *c) {
  c->ok = false;
  c->left = 0;
  return 0;
}

// The argument of a head of major type `want`; in the shortest form only.
uint64_t head(Cbor *c, uint8_t want) {
  if (!c->ok || c->left == 0 || c->at[0] >> 5 != want) return refuse(c);
  const uint8_t info = c->at[0] & 31u;
  ++c->at;
  --c->left;
  if (info < 24) return info;
  if (info > 27) return refuse(c);  // reserved, or of indefinite length
  const size_t size = static_cast<size_t>(1) << (info - 24);
  if (c->left < size) return refuse(c);
  uint64_t value = 0;
  for (size_t i = 0; i < size; ++i) value = value << 8 | c->at[i];
  c->at += size;
  c->left -= size;
  const uint64_t least = info == 24 ? 24 : static_cast<uint64_t>(1) << (size * 4);  // what half the bytes could not say
  return value < least ? refuse(c) : value;
}

const uint8_t *content(Cbor *c, uint8_t want, size_t *n) {
  const uint64_t length = head(c, want);
  *n = 0;
  if (!c->ok || length > c->left) {
    refuse(c);
    return nullptr;
  }
  const uint8_t *found = c->at;
  *n = static_cast<size_t>(length);
  c->at += *n;
  c->left -= *n;
  return found;
}

// RFC 3629 section 4: no overlong forms, no surrogates, nothing above U+10FFFF.
size_t utf8_length(const uint8_t *s, size_t left) {
  const uint8_t a = s[0];
  if (a < 0x80) return 1;
  const size_t size = a >= 0xC2 && a <= 0xDF ? 2 : (a & 0xF0) == 0xE0 ? 3 : a >= 0xF0 && a <= 0xF4 ? 4 : 0;
  if (size == 0 || size > left) return 0;
  for (size_t i = 1; i < size; ++i)
    if ((s[i] & 0xC0) != 0x80) return 0;
  const bool overlong = (a == 0xE0 && s[1] < 0xA0) || (a == 0xF0 && s[1] < 0x90);
  const bool beyond = (a == 0xED && s[1] > 0x9F) || (a == 0xF4 && s[1] > 0x8F);
  return overlong || beyond ? 0 : size;
}

size_t count(Cbor *c, uint8_t want, size_t least_bytes) {
  const uint64_t items = head(c, want);
  if (items > c->left / least_bytes) return static_cast<size_t>(refuse(c));  // an item takes at least one byte
  return static_cast<size_t>(items);
}

}  // namespace

Cbor cbor_over(const uint8_t *bytes, size_t n) { return Cbor{bytes, n, true}; }

uint64_t cbor_unsigned(Cbor *c) { return head(c, kUnsigned); }

int64_t cbor_integer(Cbor *c) {
  const bool negative = c->left > 0 && c->at[0] >> 5 == kNegative;
  const uint64_t value = head(c, negative ? kNegative : kUnsigned);
  if (value > static_cast<uint64_t>(INT64_MAX)) return static_cast<int64_t>(refuse(c));
  return negative ? -1 - static_cast<int64_t>(value) : static_cast<int64_t>(value);
}

const uint8_t *cbor_bytes(Cbor *c, size_t *n) { return content(c, kBytes, n); }

const char *cbor_text(Cbor *c, size_t *n) {
  const uint8_t *found = content(c, kText, n);
  for (size_t i = 0; i < *n;) {
    const size_t size = utf8_length(found + i, *n - i);
    if (size == 0) {
      refuse(c);
      *n = 0;
      return nullptr;
    }
    i += size;
  }
  return reinterpret_cast<const char *>(found);
}

size_t cbor_array(Cbor *c) { return count(c, kArray, 1); }
size_t cbor_map(Cbor *c) { return count(c, kMap, 2); }
uint64_t cbor_tag(Cbor *c) { return head(c, kTag); }

bool cbor_done(const Cbor *c) { return c->ok && c->left == 0; }

}  // namespace tn
