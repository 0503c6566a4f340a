// Text into a fixed buffer: what does not fit is cut off and remembered, never written past the end.
#ifndef TN_TEXT_H
#define TN_TEXT_H

#include <stddef.h>
#include <stdint.h>

namespace tn {

struct Text {
  char *to;
  size_t room;  // bytes at `to`
  size_t n;     // bytes written
  bool over;    // the text goes on, but nothing more is written
  size_t skip;  // bytes of the text that are still to be left out
};

Text text_into(char *to, size_t room);
Text text_from(size_t skip, char *to, size_t room);  // the part of a longer text that begins `skip` bytes after its start

void put(Text *t, const char *s);
void put_n(Text *t, const char *s, size_t n);
void put_char(Text *t, char c);
void put_u64(Text *t, uint64_t value);
void put_i32(Text *t, int32_t value);
void put_seconds(Text *t, uint64_t ms);  // `12.345`
void put_hex(Text *t, const uint8_t *bytes, size_t n);
void put_crc(Text *t, uint32_t crc);  // 8 hex digits
void put_mac(Text *t, const uint8_t mac[6]);
void put_uuid(Text *t, const uint8_t id[16]);
void put_json_string(Text *t, const char *s);  // with its quotes

}  // namespace tn

#endif
