#include "base64.h"

namespace tn {

namespace {

const char kStandard[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
const char kUrl[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

size_t encode(const char *alphabet, const uint8_t *from, size_t n, char *to) {
  size_t out = 0;
  uint32_t bits = 0;
  unsigned held = 0;
  for (size_t i = 0; i < n; ++i) {
    bits = (bits << 8) | from[i];
    for (held += 8; held >= 6;) {
      held -= 6;
      to[out++] = alphabet[(bits >> held) & 63u];
    }
  }
  if (held > 0) to[out++] = alphabet[(bits << (6 - held)) & 63u];
  return out;
}

int value_of(char c, bool url) {
  if (c >= 'A' && c <= 'Z') return c - 'A';
  if (c >= 'a' && c <= 'z') return c - 'a' + 26;
  if (c >= '0' && c <= '9') return c - '0' + 52;
  if (c == (url ? '-' : '+')) return 62;
  if (c == (url ? '_' : '/')) return 63;
  return -1;
}

bool decode(Slice text, bool url, uint8_t *to, size_t room, size_t *n) {
  *n = 0;
  if (text.n % 4 == 1) return false;
  uint32_t bits = 0;
  unsigned held = 0;
  for (size_t i = 0; i < text.n; ++i) {
    const int value = value_of(text.at[i], url);
    if (value < 0) return false;
    bits = (bits << 6) | static_cast<uint32_t>(value);
    held += 6;
    if (held < 8) continue;
    held -= 8;
    if (*n >= room) return false;
    to[(*n)++] = static_cast<uint8_t>(bits >> held);
  }
  return (bits & ((1u << held) - 1u)) == 0;  // RFC 4648 section 3.5: pad bits are zero, else two texts mean one value
}

}  // namespace

size_t base64_encode(const uint8_t *from, size_t n, char *to, size_t room) {
  const size_t whole = base64_chars(n);
  if (whole > room) return 0;
  size_t out = encode(kStandard, from, n, to);
  while (out < whole) to[out++] = '=';
  return out;
}

size_t base64url_encode(const uint8_t *from, size_t n, char *to, size_t room) {
  return base64url_chars(n) > room ? 0 : encode(kUrl, from, n, to);
}

bool base64_decode(Slice text, uint8_t *to, size_t room, size_t *n) {
  *n = 0;
  if (text.n % 4 != 0) return false;
  for (int i = 0; i < 2 && text.n > 0 && text.at[text.n - 1] == '='; ++i) --text.n;
  return decode(text, false, to, room, n);
}

bool base64url_decode(Slice text, uint8_t *to, size_t room, size_t *n) { return decode(text, true, to, room, n); }

}  // namespace tn
