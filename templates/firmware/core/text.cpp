#include "text.h"

#include <string.h>

namespace tn {

namespace {

const char kHexDigits[] = "0123456789abcdef";

}  // namespace

Text text_into(char *to, size_t room) { return text_from(0, to, room); }

Text text_from(size_t skip, char *to, size_t room) { return Text{to, room, 0, false, skip}; }

void put_n(Text *t, const char *s, size_t n) {
  if (t->over) return;
  const size_t before = n < t->skip ? n : t->skip;
  const size_t after = n - before, left = t->room - t->n;
  const size_t fits = after < left ? after : left;
  t->skip -= before;
  t->over = fits < after;
  memcpy(t->to + t->n, s + before, fits);
  t->n += fits;
}

void put(Text *t, const char *s) { put_n(t, s, strlen(s)); }

void put_char(Text *t, char c) { put_n(t, &c, 1); }

void put_u64(Text *t, uint64_t value) {
  char digits[20];
  size_t at = sizeof digits;
  do {
    digits[--at] = static_cast<char>('0' + value % 10u);
    value /= 10u;
  } while (value != 0);
  put_n(t, digits + at, sizeof digits - at);
}

void put_i32(Text *t, int32_t value) {
  if (value < 0) put_char(t, '-');
  const int64_t wide = value;
  put_u64(t, static_cast<uint64_t>(wide < 0 ? -wide : wide));
}

void put_seconds(Text *t, uint64_t ms) {
  const uint32_t rest_ms = static_cast<uint32_t>(ms % 1000u);
  put_u64(t, ms / 1000u);
  put_char(t, '.');
  put_char(t, static_cast<char>('0' + rest_ms / 100u));
  put_char(t, static_cast<char>('0' + rest_ms / 10u % 10u));
  put_char(t, static_cast<char>('0' + rest_ms % 10u));
}

void put_hex(Text *t, const uint8_t *bytes, size_t n) {
  for (size_t i = 0; i < n; ++i) {
    put_char(t, kHexDigits[bytes[i] >> 4]);
    put_char(t, kHexDigits[bytes[i] & 15u]);
  }
}

void put_crc(Text *t, uint32_t crc) {
  const uint8_t bytes[4] = {static_cast<uint8_t>(crc >> 24), static_cast<uint8_t>(crc >> 16),
                            static_cast<uint8_t>(crc >> 8), static_cast<uint8_t>(crc)};
  put_hex(t, bytes, sizeof bytes);
}

void put_mac(Text *t, const uint8_t mac[6]) {
  for (size_t i = 0; i < 6; ++i) {
    if (i != 0) put_char(t, ':');
    put_hex(t, mac + i, 1);
  }
}

void put_uuid(Text *t, const uint8_t id[16]) {
  for (size_t i = 0; i < 16; ++i) {
    if (i == 4 || i == 6 || i == 8 || i == 10) put_char(t, '-');
    put_hex(t, id + i, 1);
  }
}

void put_json_string(Text *t, const char *s) {
  put_char(t, '"');
  for (; *s != '\0'; ++s) {
    const uint8_t c = static_cast<uint8_t>(*s);
    if (c == '"' || c == '\\') {
      put_char(t, '\\');
      put_char(t, *s);
    } else if (c < 0x20 || c >= 0x7F) {  // RFC 8259: control characters must be escaped; nothing here is beyond ASCII
      put(t, "\\u00");
      put_hex(t, &c, 1);
    } else {
      put_char(t, *s);
    }
  }
  put_char(t, '"');
}

}  // namespace tn
