// The CBOR reader and the ticket check. Bit 0 of the first byte of an input: a ticket (0), or reads of CBOR items by the letters
// before the first zero byte (1). A ticket of good form gets a good stand-in signature when bit 1 is set, and the node's key id
// when bit 2 is set. What is accepted must be, byte for byte, what the fields that were read make when written anew.
#include "core/cbor.h"
#include "core/ticket.h"
#include "firmware/sample_block.h"
#include "firmware/sign_helper.h"
#include "fuzz.h"

namespace {

constexpr uint64_t kFloor = 6;

sign::Bytes write_anew(const tn::Ticket &t, const uint8_t *key_id, const uint8_t *signature) {
  sign::Bytes payload = {}, header = {}, out = {};
  sign::cbor(&payload, 5, 9);
  sign::cbor(&payload, 0, 1), sign::cbor(&payload, 0, 1);
  sign::cbor(&payload, 0, 2), sign::cbor(&payload, 0, t.sequence);
  sign::cbor(&payload, 0, 3), sign::cbor_string(&payload, 2, t.vendor_id, 16);
  sign::cbor(&payload, 0, 4), sign::cbor_string(&payload, 2, t.class_id, 16);
  sign::cbor(&payload, 0, 5), sign::cbor_string(&payload, 3, t.node, strlen(t.node));
  sign::cbor(&payload, 0, 6), sign::cbor_string(&payload, 3, t.format, strlen(t.format));
  sign::cbor(&payload, 0, 7), sign::cbor(&payload, 0, t.size_bytes);
  sign::cbor(&payload, 0, 8), sign::cbor_string(&payload, 2, t.sha256, 32);
  sign::cbor(&payload, 0, 9), sign::cbor_string(&payload, 3, t.release, strlen(t.release));
  sign::cbor(&header, 5, 2);
  sign::cbor(&header, 0, 1), sign::cbor(&header, 1, 6);
  sign::cbor(&header, 0, 4), sign::cbor_string(&header, 2, key_id, 8);
  sign::cbor(&out, 6, 18);
  sign::cbor(&out, 4, 4);
  sign::cbor_string(&out, 2, header.at, header.n);
  sign::cbor(&out, 5, 0);
  sign::cbor_string(&out, 2, payload.at, payload.n);
  sign::cbor_string(&out, 2, signature, 64);
  return out;
}

void check_form(const uint8_t *bytes, size_t n, const tn::Ticket &ticket, const uint8_t *key_id, const uint8_t *signature) {
  MUST(n <= tn::kTicketBytes && key_id >= bytes && key_id + 8 <= bytes + n);
  MUST(signature >= bytes && signature + 64 == bytes + n);
  MUST(ticket.size_bytes > 0 && ticket.sequence <= static_cast<uint64_t>(INT64_MAX));
  if (ticket.size_bytes == UINT32_MAX) return;  // also stands for anything above it
  const sign::Bytes anew = write_anew(ticket, key_id, signature);
  MUST(anew.n == n && memcmp(anew.at, bytes, n) == 0);
}

void try_ticket(uint8_t how, const uint8_t *data, size_t n) {
  static const tn::NodeBlock block = sample_block();
  Own bytes(data, n);
  tn::Ticket ticket = {};
  const uint8_t *key_id = nullptr, *signature = nullptr;
  uint8_t digest[32];
  tn::Code code = tn::parse_ticket(bytes.at, n, fuzz_crypto(), &ticket, &key_id, &signature, digest);
  MUST(code == tn::Code::kOk || code == tn::Code::kBadTicket);
  if (code != tn::Code::kOk) {
    MUST(tn::check_ticket(bytes.at, n, block, kFloor, fuzz_crypto(), &ticket) == tn::Code::kBadTicket);
    return;
  }
  check_form(bytes.at, n, ticket, key_id, signature);
  if ((how & 4u) != 0) memcpy(bytes.at + (key_id - bytes.at), block.key_id, 8);
  MUST(tn::parse_ticket(bytes.at, n, fuzz_crypto(), &ticket, &key_id, &signature, digest) == tn::Code::kOk);
  if ((how & 2u) != 0) stand_in_sign(digest, bytes.at + (signature - bytes.at));
  tn::Ticket checked = {};
  code = tn::check_ticket(bytes.at, n, block, kFloor, fuzz_crypto(), &checked);
  const bool known = memcmp(key_id, block.key_id, 8) == 0;
  const bool good = stand_in_verify(block.signing_key, digest, signature) == tn::Verified::kGood;
  if (!known) MUST(code == tn::Code::kUnknownKey);
  if (known && !good) MUST(code == tn::Code::kBadTicketSignature);
  if (code != tn::Code::kOk) return;
  MUST(known && good && strcmp(checked.node, block.node) == 0 && memcmp(checked.class_id, block.class_id, 16) == 0);
  MUST(memcmp(checked.vendor_id, block.vendor_id, 16) == 0 && checked.sequence > kFloor);
  MUST(strcmp(checked.format, tn::format_text(static_cast<tn::PayloadFormat>(block.payload_format))) == 0);
}

// One item by its letter; what was read must lie in the input, and writing it anew must give the same bytes.
void read_item(tn::Cbor *c, uint8_t letter) {
  const uint8_t *const before = c->at;
  const size_t had = c->left;
  size_t n = 0;
  uint64_t value = 0;
  const void *content = nullptr;
  unsigned major = letter % 7u;
  switch (major) {
    case 0: value = tn::cbor_unsigned(c); break;
    case 1: {
      const int64_t number = tn::cbor_integer(c);
      major = number < 0 ? 1 : 0;
      value = number < 0 ? static_cast<uint64_t>(-(number + 1)) : static_cast<uint64_t>(number);
      break;
    }
    case 2: content = tn::cbor_bytes(c, &n); value = n; break;
    case 3: content = tn::cbor_text(c, &n); value = n; break;
    case 4: value = tn::cbor_array(c); break;
    case 5: value = tn::cbor_map(c); break;
    default: value = tn::cbor_tag(c); break;
  }
  if (!c->ok) {
    MUST(value == 0 && content == nullptr);
    return;
  }
  MUST(c->left <= had && c->at + c->left == before + had);
  sign::Bytes head = {};
  sign::cbor(&head, major, value);
  MUST(head.n + n == static_cast<size_t>(c->at - before) && memcmp(head.at, before, head.n) == 0);
  if (n > 0) MUST(content == before + head.n);
}

void try_items(Input input) {
  const uint8_t *const letters = input.at;
  size_t count = 0;
  while (input.left > 0 && input.byte() != 0) ++count;
  Own bytes(input.at, input.left);
  tn::Cbor c = tn::cbor_over(bytes.at, bytes.n);
  for (size_t i = 0; i < count; ++i) {
    const bool was_ok = c.ok;
    read_item(&c, letters[i]);
    MUST(was_ok || !c.ok);  // the first refusal sticks
  }
  MUST(tn::cbor_done(&c) == (c.ok && c.left == 0));
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n) {
  Input input = {data, n};
  const uint8_t how = input.byte();
  if ((how & 1u) != 0) {
    try_items(input);
  } else {
    try_ticket(how, input.at, input.left);
  }
  return 0;
}
