// Requests of HTTP/1.1 as far as a node speaks it (RFC 9112; docs/node-interface.md section 2): a head of bounded size that
// comes in any pieces, read in place, and the heads of answers.
//
// Strict where a doubt would cost: lines end in CRLF, no folded lines, no blank before a colon, one Host, and each header that
// means something here at most once.
#ifndef TN_HTTP_H
#define TN_HTTP_H

#include <stddef.h>
#include <stdint.h>

#include "slice.h"
#include "text.h"

namespace tn {

constexpr size_t kHeadBytes = 2048;   // request line and headers together
constexpr size_t kHeadLines = 24;     // header lines
constexpr size_t kMethodChars = 8;    // longest method that is read at all
constexpr size_t kPathChars = 64;     // longest path that is read at all

// What a head says. Slices point into the reader's room; `at` is null where the header is absent.
struct HttpHead {
  Slice method;
  Slice path;
  Slice host;
  Slice content_digest;
  Slice tank_ticket;
  Slice signature_input;
  Slice signature;
  Slice accept_signature;
  bool has_length;
  bool chunked;  // any Transfer-Encoding
  bool expects_continue;
  uint32_t length;  // of the body; 0 when not given
};

enum class HttpRead : uint8_t { kMore, kWhole, kBad };

struct HttpReader {
  char room[kHeadBytes];
  size_t n;        // bytes in `room`
  size_t head_n;   // once whole: bytes of the head, its empty line included; the body's first bytes follow
  size_t scanned;  // bytes in which no end of the head was found
};

void http_begin(HttpReader *reader);

// Looks again after `reader->n` grew. kBad: `why` (never null then) says what is wrong with it. Bytes after the head stay where
// they are, at room + head_n.
HttpRead http_read(HttpReader *reader, HttpHead *head, const char **why);

// `HTTP/1.1 200 OK` and the headers that every answer has; the caller adds its own and the empty line.
void put_answer_head(Text *t, uint16_t status, const char *content_type, size_t body_n);
const char *reason_phrase(uint16_t status);

}  // namespace tn

#endif
