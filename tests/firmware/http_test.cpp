// The request reader: RFC 9112 as far as a node speaks it, in any pieces, and nothing that is doubtful.
#include <stdlib.h>

#include "check.h"
#include "core/http.h"

using tn::HttpHead;
using tn::HttpRead;
using tn::HttpReader;
using tn::same;
using tn::slice;

namespace {

HttpReader reader;
HttpHead head;
const char *why;

HttpRead read_in_pieces(const char *bytes, size_t n, size_t piece) {
  tn::http_begin(&reader);
  HttpRead read = HttpRead::kMore;
  for (size_t at = 0; at < n && read == HttpRead::kMore;) {
    size_t m = n - at < piece ? n - at : piece;
    if (m > tn::kHeadBytes - reader.n) m = tn::kHeadBytes - reader.n;
    memcpy(reader.room + reader.n, bytes + at, m);
    reader.n += m;
    at += m;
    read = tn::http_read(&reader, &head, &why);
  }
  return read;
}

HttpRead read_text(const char *text) { return read_in_pieces(text, strlen(text), 4096); }

bool bad(const char *text) { return read_text(text) == HttpRead::kBad && why != nullptr; }

const char kPut[] =
    "PUT /v1/image HTTP/1.1\r\nHost: 127.0.0.9:8080\r\nAccept: */*\r\nContent-Length: 524288\r\n"
    "content-digest: sha-256=:AAAA:\r\nTANK-TICKET:\t:BBBB: \t\r\nSignature-Input: tank=()\r\nSignature: tank=:CCCC:\r\n"
    "Accept-Signature: tank=(\"@status\")\r\nExpect: 100-Continue\r\nX-Empty:\r\n\r\nfirst bytes";

}  // namespace

static void a_whole_request_is_read_in_any_pieces() {
  for (size_t piece = 1; piece <= sizeof kPut; ++piece) {
    CHECK(read_in_pieces(kPut, sizeof kPut - 1, piece) == HttpRead::kWhole);
    CHECK(same(head.method, slice("PUT")));
    CHECK(same(head.path, slice("/v1/image")));
    CHECK(same(head.host, slice("127.0.0.9:8080")));
    CHECK(same(head.content_digest, slice("sha-256=:AAAA:")));
    CHECK(same(head.tank_ticket, slice(":BBBB:")));
    CHECK(same(head.signature_input, slice("tank=()")));
    CHECK(same(head.signature, slice("tank=:CCCC:")));
    CHECK(same(head.accept_signature, slice("tank=(\"@status\")")));
    CHECK(head.has_length && head.length == 524288 && head.expects_continue && !head.chunked);
    CHECK(reader.head_n == strlen(kPut) - strlen("first bytes"));
  }
}

static void absent_headers_are_told_from_empty_ones() {
  CHECK(read_text("GET /metrics HTTP/1.1\r\nHost:\r\nSignature: \r\n\r\n") == HttpRead::kWhole);
  CHECK(head.host.at != nullptr && head.host.n == 0);
  CHECK(head.signature.at != nullptr && head.signature.n == 0);
  CHECK(head.signature_input.at == nullptr && head.tank_ticket.at == nullptr);
  CHECK(!head.has_length && head.length == 0);
}

// RFC 9112 section 3: request-line = method SP request-target SP HTTP-version.
static void request_lines_are_strict() {
  CHECK(bad("GET  /a HTTP/1.1\r\nHost: a\r\n\r\n"));
  CHECK(bad("GET /a  HTTP/1.1\r\nHost: a\r\n\r\n"));
  CHECK(bad("GET /a HTTP/1.1 \r\nHost: a\r\n\r\n"));
  CHECK(bad("GET /a HTTP/1.0\r\nHost: a\r\n\r\n"));
  CHECK(bad("GET /a HTTP/2.0\r\nHost: a\r\n\r\n"));
  CHECK(bad("GET /a http/1.1\r\nHost: a\r\n\r\n"));
  CHECK(bad("GET /a\r\nHost: a\r\n\r\n"));
  CHECK(bad("GET\r\nHost: a\r\n\r\n"));
  CHECK(bad("GET http://a/ HTTP/1.1\r\nHost: a\r\n\r\n"));  // absolute form is for proxies
  CHECK(bad("OPTIONS * HTTP/1.1\r\nHost: a\r\n\r\n"));
  CHECK(bad("GETGETGET /a HTTP/1.1\r\nHost: a\r\n\r\n"));
  CHECK(bad("GET /\x80 HTTP/1.1\r\nHost: a\r\n\r\n"));
  CHECK(bad("\x16\x03\x01"));  // TLS: refused with its first byte
  CHECK(bad(" GET / HTTP/1.1\r\nHost: a\r\n\r\n"));
  CHECK(read_text("GET /a?b=c HTTP/1.1\r\nHost: a\r\n\r\n") == HttpRead::kWhole);
}

// RFC 9112 sections 2.2, 3.2, 5.1, 5.2, 6.1 and 6.3: what a server must or may refuse.
static void headers_are_strict() {
  CHECK(bad("GET / HTTP/1.1\r\n\r\n"));                                            // no Host
  CHECK(bad("GET / HTTP/1.1\r\nHost: a\r\nHost: a\r\n\r\n"));                      // two
  CHECK(bad("GET / HTTP/1.1\r\nHost : a\r\n\r\n"));                                // blank before the colon
  CHECK(bad("GET / HTTP/1.1\r\nHost: a\r\n b\r\n\r\n"));                           // folded
  CHECK(bad("GET / HTTP/1.1\r\nHost: a\r\nnothing\r\n\r\n"));                      // no colon
  CHECK(bad("GET / HTTP/1.1\r\nHost: a\r\n: b\r\n\r\n"));                          // no name
  CHECK(bad("GET / HTTP/1.1\nHost: a\r\n\r\n"));                                   // bare LF
  CHECK(bad("GET / HTTP/1.1\r\nHost: a\rb\r\n\r\n"));                              // bare CR
  CHECK(bad("GET / HTTP/1.1\r\nHost: a\nXY: b\r\n\r\n"));
  CHECK(bad("GET / HTTP/1.1\r\nHost: a\rXY: b\r\n\r\n"));
  CHECK(bad("GET / HTTP/1.1\r\nHost: a\x01\r\n\r\n"));                             // control character
  CHECK(bad("GET / HTTP/1.1\r\nHost: a\x7F\r\n\r\n"));
  CHECK(bad("PUT / HTTP/1.1\r\nHost: a\r\nContent-Length: 1\r\nContent-Length: 1\r\n\r\n"));
  CHECK(bad("PUT / HTTP/1.1\r\nHost: a\r\nContent-Length: 1\r\nTransfer-Encoding: chunked\r\n\r\n"));
  const char *const lengths[] = {"", "-1", "+1", "1 1", "1,1", "0x10", "4294967296", "99999999999999999999", "1.0"};
  for (const char *length : lengths) {
    char text[200];
    snprintf(text, sizeof text, "PUT / HTTP/1.1\r\nHost: a\r\nContent-Length: %s\r\n\r\n", length);
    CHECK(bad(text));
  }
  CHECK(bad("PUT / HTTP/1.1\r\nHost: a\r\nExpect: 200-ok\r\n\r\n"));
  CHECK(read_text("PUT / HTTP/1.1\r\nHost: a\r\nContent-Length: 4294967295\r\n\r\n") == HttpRead::kWhole);
  CHECK(head.length == 4294967295u);
  CHECK(read_text("PUT / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\n") == HttpRead::kWhole && head.chunked);
  CHECK(read_text("GET / HTTP/1.1\r\nHost: a\r\nUser-Agent: caf\xE9\r\n\r\n") == HttpRead::kWhole);
}

static void bounds_hold() {
  char text[4096] = "GET / HTTP/1.1\r\nHost: a\r\n";
  for (int i = 0; i < 23; ++i) strcat(text, "X: y\r\n");
  char more[4200];
  snprintf(more, sizeof more, "%s\r\n", text);
  CHECK(read_text(more) == HttpRead::kWhole);  // 24 header lines
  snprintf(more, sizeof more, "%sX: y\r\n\r\n", text);
  CHECK(bad(more));  // 25

  strcpy(text, "GET / HTTP/1.1\r\nHost: a\r\nX: ");
  const size_t fixed = strlen(text);
  for (size_t total = 2044; total <= 2052; ++total) {
    memset(text + fixed, 'y', total - fixed - 4);
    strcpy(text + total - 4, "\r\n\r\n");
    CHECK((read_text(text) == HttpRead::kWhole) == (total <= tn::kHeadBytes));
    CHECK(read_in_pieces(text, total, 7) == (total <= tn::kHeadBytes ? HttpRead::kWhole : HttpRead::kBad));
  }
  memset(text, 'G', sizeof text);
  CHECK(read_in_pieces(text, sizeof text, 100) == HttpRead::kBad);  // never an end

  char path[100];
  snprintf(path, sizeof path, "GET /%063d HTTP/1.1\r\nHost: a\r\n\r\n", 0);
  CHECK(read_text(path) == HttpRead::kWhole);
  snprintf(path, sizeof path, "GET /%064d HTTP/1.1\r\nHost: a\r\n\r\n", 0);
  CHECK(bad(path));
}

static void answers_have_their_head() {
  char room[400];
  tn::Text t = tn::text_into(room, sizeof room);
  tn::put_answer_head(&t, 403, "application/problem+json", 42);
  CHECK(!t.over && same(tn::Slice{room, t.n}, slice("HTTP/1.1 403 Forbidden\r\nConnection: close\r\n"
                                                    "Cache-Control: no-store\r\nContent-Type: application/problem+json\r\n"
                                                    "Content-Length: 42\r\n")));
  t = tn::text_into(room, 50);
  tn::put_answer_head(&t, 200, "application/json", 1);
  CHECK(t.over && t.n <= 50);
}

static bool inside(tn::Slice s) {
  return s.at == nullptr || (s.at >= reader.room && s.at + s.n <= reader.room + reader.head_n);
}

// Requests put together from likely and unlikely pieces, then damaged. The address sanitizer watches the reads; here: every slice
// lies in the head, and pieces do not change the verdict.
static void random_input_is_survived(uint32_t first_seed, uint32_t count) {
  const char *const pieces[] = {
      "GET ", "PUT ", "POST ", "/v1/state", "/v1/image", " HTTP/1.1", " HTTP/1.0", "\r\n", "\r\n", "\r\n", "\r\n\r\n", "\n", "\r",
      "Host: a", "Content-Length: ", "12", "18446744073709551616", "Transfer-Encoding: chunked", "Expect: 100-continue",
      "Signature: tank=:AA:", "Signature-Input: tank=(\"@method\")", ":", " ", "\t", "X: y", "\x80\xFF", "\x01", "aaaaaaaaaaaaaaaa",
      "Tank-Ticket: :AA:", "Host:", "Content-Digest:"};
  for (uint32_t seed = first_seed; seed < first_seed + count; ++seed) {
    uint32_t random = seed;
    auto next = [&random](uint32_t below) {
      random = random * 1664525u + 1013904223u;
      return (random >> 8) % below;
    };
    char text[3000];
    size_t n = 0;
    if (next(2) == 0) n = static_cast<size_t>(snprintf(text, sizeof text, "GET / HTTP/1.1\r\nHost: a\r\n"));
    for (uint32_t left = next(60); left > 0 && n < sizeof text - 64; --left) {
      const char *piece = pieces[next(sizeof pieces / sizeof pieces[0])];
      memcpy(text + n, piece, strlen(piece));
      n += strlen(piece);
    }
    memcpy(text + n, "\r\n\r\n", 4);
    n += 4;
    for (uint32_t left = next(4); left > 0; --left) text[next(static_cast<uint32_t>(n))] = static_cast<char>(next(256));
    const int failed = check_failed;
    const HttpRead whole = read_in_pieces(text, n, sizeof text);
    if (whole == HttpRead::kWhole) {
      CHECK(head.method.n > 0 && head.path.n > 0 && head.path.at[0] == '/' && head.host.at != nullptr);
      CHECK(inside(head.method) && inside(head.path) && inside(head.host) && inside(head.signature));
      CHECK(inside(head.signature_input) && inside(head.tank_ticket) && inside(head.content_digest));
      CHECK(head.host.n == 0 || memchr(head.host.at, '\n', head.host.n) == nullptr);
    }
    CHECK(whole != HttpRead::kBad || why != nullptr);
    CHECK(read_in_pieces(text, n, 1 + next(20)) == whole);
    if (check_failed != failed) {
      printf("seed %u\n", seed);
      return;
    }
  }
}

// Argument: a seed to replay.
int main(int count, char **arguments) {
  if (count > 1) {
    check_test = "random_input_is_survived";
    random_input_is_survived(static_cast<uint32_t>(strtoul(arguments[1], nullptr, 10)), 1);
    return check_result();
  }
  RUN(a_whole_request_is_read_in_any_pieces);
  RUN(absent_headers_are_told_from_empty_ones);
  RUN(request_lines_are_strict);
  RUN(headers_are_strict);
  RUN(bounds_hold);
  RUN(answers_have_their_head);
  check_test = "random_input_is_survived";
  random_input_is_survived(1, 100000);
  return check_result();
}
