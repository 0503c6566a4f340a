// The reader of request heads. The first two bytes of an input say in what pieces the rest arrives. Whatever the pieces, the
// verdict and what was understood must be the same as of one piece; no slice may leave the head; no bound may be passed.
#include "core/http.h"
#include "fuzz.h"

namespace {

struct Outcome {
  tn::HttpRead read;
  const char *why;
  tn::HttpHead head;
};

// Gives `n` bytes in pieces of `piece` (the first: `first`) and stops at the first verdict, as a node does.
Outcome read_in_pieces(tn::HttpReader *reader, const uint8_t *bytes, size_t n, size_t first, size_t piece) {
  Outcome out = {tn::HttpRead::kMore, nullptr, {}};
  tn::http_begin(reader);
  for (size_t done = 0; done < n && out.read == tn::HttpRead::kMore;) {
    const size_t room = tn::kHeadBytes - reader->n;
    size_t part = done == 0 ? first : piece;
    if (part > n - done) part = n - done;
    if (part > room) part = room;
    MUST(part > 0);  // a full room without a verdict would make the node wait for ever
    memcpy(reader->room + reader->n, bytes + done, part);
    reader->n += part;
    done += part;
    char *const unused = reader->room + reader->n;
    ASAN_POISON_MEMORY_REGION(unused, tn::kHeadBytes - reader->n);
    out.read = tn::http_read(reader, &out.head, &out.why);
    ASAN_UNPOISON_MEMORY_REGION(unused, tn::kHeadBytes - reader->n);
    MUST((out.read == tn::HttpRead::kBad) == (out.why != nullptr));
  }
  return out;
}

void check_slice(const tn::HttpReader &reader, tn::Slice s, bool needed) {
  if (s.at == nullptr) {
    MUST(!needed && s.n == 0);
    return;
  }
  MUST(s.at >= reader.room && s.at + s.n <= reader.room + reader.head_n);
  for (size_t i = 0; i < s.n; ++i) MUST(s.at[i] != '\r' && s.at[i] != '\n' && s.at[i] != '\0');
  if (s.n > 0) MUST(s.at[0] != ' ' && s.at[s.n - 1] != ' ' && s.at[0] != '\t' && s.at[s.n - 1] != '\t');
}

void check_head(const tn::HttpReader &reader, const tn::HttpHead &head) {
  MUST(reader.head_n >= 4 && reader.head_n <= reader.n && memcmp(reader.room + reader.head_n - 4, "\r\n\r\n", 4) == 0);
  MUST(head.method.n >= 1 && head.method.n <= tn::kMethodChars);
  MUST(head.path.n >= 1 && head.path.n <= tn::kPathChars && head.path.at[0] == '/');
  MUST(!(head.has_length && head.chunked) && (head.has_length || head.length == 0));
  check_slice(reader, head.method, true);
  check_slice(reader, head.path, true);
  check_slice(reader, head.host, true);
  check_slice(reader, head.content_digest, false);
  check_slice(reader, head.tank_ticket, false);
  check_slice(reader, head.signature_input, false);
  check_slice(reader, head.signature, false);
  check_slice(reader, head.accept_signature, false);
  size_t lines = 0;
  for (size_t i = 0; i + 1 < reader.head_n; ++i) lines += reader.room[i] == '\r' && reader.room[i + 1] == '\n';
  MUST(lines <= tn::kHeadLines + 2);  // the request line and the empty line beside them
}

bool same_heads(const tn::HttpHead &a, const tn::HttpHead &b) {
  return tn::same(a.method, b.method) && tn::same(a.path, b.path) && tn::same(a.host, b.host) &&
         tn::same(a.content_digest, b.content_digest) && tn::same(a.tank_ticket, b.tank_ticket) &&
         tn::same(a.signature_input, b.signature_input) && tn::same(a.signature, b.signature) &&
         tn::same(a.accept_signature, b.accept_signature) && a.has_length == b.has_length && a.length == b.length &&
         a.chunked == b.chunked && a.expects_continue == b.expects_continue;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n) {
  alignas(8) static tn::HttpReader one, many;
  Input input = {data, n};
  const size_t first = static_cast<size_t>(input.byte()) + 1;
  const size_t piece = static_cast<size_t>(input.byte()) + 1;
  const size_t most = tn::kHeadBytes;  // one piece: as much as there is room for
  const size_t count = input.left < most ? input.left : most;
  const Outcome whole = read_in_pieces(&one, input.at, count, most, most);
  const Outcome parts = read_in_pieces(&many, input.at, count, first, piece);
  MUST(whole.read == parts.read);
  if (whole.read == tn::HttpRead::kBad) MUST(strcmp(whole.why, parts.why) == 0);
  if (whole.read != tn::HttpRead::kWhole) return 0;
  MUST(one.head_n == many.head_n && same_heads(whole.head, parts.head));
  check_head(one, whole.head);
  check_head(many, parts.head);
  return 0;
}
