#include "http.h"

namespace tn {

namespace {

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

// RFC 9110 section 5.6.2.
bool is_token_char(char c) { return is_letter(c) || is_digit(c) || (c != '\0' && strchr("!#$%&'*+-.^_`|~", c) != nullptr); }

bool is_visible(char c) { return c > ' ' && c < '\x7F'; }

// RFC 9110 section 5.5: visible characters, blanks, and bytes above ASCII, which mean nothing here.
bool is_value_char(char c) { return c == '\t' || (static_cast<uint8_t>(c) >= 0x20 && c != '\x7F'); }

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

bool same_but_case(Slice a, const char *b) {
  if (a.n != strlen(b)) return false;
  for (size_t i = 0; i < a.n; ++i) {
    if (lower(a.at[i]) != b[i]) return false;
  }
  return true;
}

Slice trimmed(Slice s) {
  while (s.n > 0 && (s.at[0] == ' ' || s.at[0] == '\t')) {
    ++s.at;
    --s.n;
  }
  while (s.n > 0 && (s.at[s.n - 1] == ' ' || s.at[s.n - 1] == '\t')) --s.n;
  return s;
}

// Digits alone, without sign, below 2^32.
bool read_length(Slice s, uint32_t *to) {
  if (s.n == 0 || s.n > 10) return false;
  uint64_t value = 0;
  for (size_t i = 0; i < s.n; ++i) {
    if (!is_digit(s.at[i])) return false;
    value = value * 10u + static_cast<uint64_t>(s.at[i] - '0');
  }
  *to = static_cast<uint32_t>(value);
  return value <= 0xFFFFFFFFu;
}

// The headers that mean something here.
enum Known : uint8_t {
  kHost,
  kContentDigest,
  kTankTicket,
  kSignatureInput,
  kSignature,
  kAcceptSignature,
  kContentLength,
  kTransferEncoding,
  kExpect,
  kKnownCount
};
const char *const kKnownNames[kKnownCount] = {"host",           "content-digest",   "tank-ticket",
                                              "signature-input", "signature",        "accept-signature",
                                              "content-length", "transfer-encoding", "expect"};

struct Headers {
  Slice values[kKnownCount];
  size_t lines;
};

const char *read_request_line(Slice line, HttpHead *head) {
  size_t i = 0;
  while (i < line.n && is_token_char(line.at[i])) ++i;
  if (i == 0 || i > kMethodChars || i == line.n || line.at[i] != ' ') return "request line: method";
  head->method = Slice{line.at, i};
  const size_t begin = ++i;
  while (i < line.n && is_visible(line.at[i])) ++i;
  const size_t path_n = i - begin;
  if (path_n == 0 || path_n > kPathChars || line.at[begin] != '/') return "request line: path";
  head->path = Slice{line.at + begin, path_n};
  if (!same(Slice{line.at + i, line.n - i}, slice(" HTTP/1.1"))) return "request line: only HTTP/1.1 is spoken";
  return nullptr;
}

const char *read_header_line(Slice line, Headers *headers) {
  if (++headers->lines > kHeadLines) return "too many header lines";
  size_t i = 0;
  while (i < line.n && is_token_char(line.at[i])) ++i;
  if (i == 0 || i == line.n || line.at[i] != ':') return "header line: name";
  const Slice name{line.at, i};
  const Slice value = trimmed(Slice{line.at + i + 1, line.n - i - 1});
  for (size_t k = 0; k < value.n; ++k) {
    if (!is_value_char(value.at[k])) return "header line: value";
  }
  for (size_t k = 0; k < kKnownCount; ++k) {
    if (!same_but_case(name, kKnownNames[k])) continue;
    if (headers->values[k].at != nullptr) return "a header is given twice";
    headers->values[k] = value;
  }
  return nullptr;
}

const char *understand(const Headers &headers, HttpHead *head) {
  head->host = headers.values[kHost];
  head->content_digest = headers.values[kContentDigest];
  head->tank_ticket = headers.values[kTankTicket];
  head->signature_input = headers.values[kSignatureInput];
  head->signature = headers.values[kSignature];
  head->accept_signature = headers.values[kAcceptSignature];
  if (head->host.at == nullptr) return "no Host header";  // RFC 9112 section 3.2
  head->chunked = headers.values[kTransferEncoding].at != nullptr;
  const Slice length = headers.values[kContentLength];
  head->has_length = length.at != nullptr;
  if (head->has_length && !read_length(length, &head->length)) return "Content-Length is not a number";
  if (head->has_length && head->chunked) return "both Content-Length and Transfer-Encoding";  // RFC 9112 section 6.1
  const Slice expect = headers.values[kExpect];
  head->expects_continue = expect.at != nullptr;
  if (head->expects_continue && !same_but_case(expect, "100-continue")) return "only 100-continue can be expected";
  return nullptr;
}

// The end of the line that begins at `from`: the place of its CR, or `to` if it has a CR or LF that stands alone.
size_t line_end(const char *s, size_t from, size_t to) {
  size_t i = from;
  while (i < to && s[i] != '\r' && s[i] != '\n') ++i;
  return i + 1 < to && s[i] == '\r' && s[i + 1] == '\n' ? i : to;
}

const char *read_head(const HttpReader &reader, HttpHead *head) {
  *head = HttpHead{};
  Headers headers{};
  size_t at = 0;
  const size_t stop = reader.head_n - 2;  // the empty line
  for (size_t line = 0; at < stop; ++line) {
    const size_t end = line_end(reader.room, at, stop);
    if (end == stop) return "a line does not end in CR LF";
    const Slice text{reader.room + at, end - at};
    const char *why = line == 0 ? read_request_line(text, head) : read_header_line(text, &headers);
    if (why != nullptr) return why;
    at = end + 2;
  }
  return understand(headers, head);
}

// Finds the empty line; true sets head_n.
bool find_end(HttpReader *reader) {
  for (size_t i = reader->scanned; i + 4 <= reader->n; ++i) {
    if (memcmp(reader->room + i, "\r\n\r\n", 4) == 0) {
      reader->head_n = i + 4;
      return true;
    }
    reader->scanned = i + 1;
  }
  return false;
}

}  // namespace

void http_begin(HttpReader *reader) {
  reader->n = 0;
  reader->head_n = 0;
  reader->scanned = 0;
}

HttpRead http_read(HttpReader *reader, HttpHead *head, const char **why) {
  *why = nullptr;
  if (reader->n == 0) return HttpRead::kMore;
  if (!is_token_char(reader->room[0])) {
    *why = "request line: method";  // such as the first byte of TLS: say so at once instead of waiting for more
    return HttpRead::kBad;
  }
  if (!find_end(reader)) {
    if (reader->n < kHeadBytes) return HttpRead::kMore;
    *why = "the head is too long";
    return HttpRead::kBad;
  }
  *why = read_head(*reader, head);
  return *why == nullptr ? HttpRead::kWhole : HttpRead::kBad;
}

const char *reason_phrase(uint16_t status) {
  switch (status) {
    case 200: return "OK";
    case 202: return "Accepted";
    case 400: return "Bad Request";
    case 401: return "Unauthorized";
    case 403: return "Forbidden";
    case 404: return "Not Found";
    case 405: return "Method Not Allowed";
    case 409: return "Conflict";
    case 411: return "Length Required";
    case 413: return "Content Too Large";
    case 422: return "Unprocessable Content";
    case 500: return "Internal Server Error";
    case 503: return "Service Unavailable";
    default: return "Unknown";
  }
}

void put_answer_head(Text *t, uint16_t status, const char *content_type, size_t body_n) {
  put(t, "HTTP/1.1 ");
  put_u64(t, status);
  put_char(t, ' ');
  put(t, reason_phrase(status));
  put(t, "\r\nConnection: close\r\nCache-Control: no-store\r\nContent-Type: ");
  put(t, content_type);
  put(t, "\r\nContent-Length: ");
  put_u64(t, body_n);
  put(t, "\r\n");
}

}  // namespace tn
