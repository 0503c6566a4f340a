#include "ticket.h"

#include <string.h>

#include "cbor.h"

namespace tn {

namespace {

constexpr uint64_t kCoseSign1 = 18;  // RFC 9052 section 2
constexpr int64_t kAlg = 1, kKeyId = 4, kEs256 = -7;
constexpr uint64_t kManifestVersion = 1;
constexpr size_t kSignatureBytes = 64;

struct Envelope {
  const uint8_t *protected_header;
  size_t protected_n;
  const uint8_t *key_id;
  const uint8_t *payload;
  size_t payload_n;
  const uint8_t *signature;
};

bool read_protected(const uint8_t *bytes, size_t n, const uint8_t **key_id) {
  Cbor c = cbor_over(bytes, n);
  size_t key_id_n = 0;
  const bool shape = cbor_map(&c) == 2 && cbor_integer(&c) == kAlg && cbor_integer(&c) == kEs256 && cbor_integer(&c) == kKeyId;
  *key_id = cbor_bytes(&c, &key_id_n);
  return shape && cbor_done(&c) && key_id_n == kKeyIdBytes;
}

bool read_envelope(const uint8_t *bytes, size_t n, Envelope *to) {
  if (n > kTicketBytes) return false;
  Cbor c = cbor_over(bytes, n);
  size_t signature_n = 0;
  const bool head = cbor_tag(&c) == kCoseSign1 && cbor_array(&c) == 4;
  to->protected_header = cbor_bytes(&c, &to->protected_n);
  const bool unprotected_empty = cbor_map(&c) == 0;
  to->payload = cbor_bytes(&c, &to->payload_n);
  to->signature = cbor_bytes(&c, &signature_n);
  return head && unprotected_empty && cbor_done(&c) && signature_n == kSignatureBytes &&
         read_protected(to->protected_header, to->protected_n, &to->key_id);
}

bool take_key(Cbor *c, uint64_t key) { return cbor_unsigned(c) == key && c->ok; }

bool take_bytes(Cbor *c, uint64_t key, uint8_t *to, size_t exactly) {
  if (!take_key(c, key)) return false;
  size_t n = 0;
  const uint8_t *found = cbor_bytes(c, &n);
  if (!c->ok || n != exactly) return false;
  memcpy(to, found, n);
  return true;
}

bool take_text(Cbor *c, uint64_t key, char *to, size_t room) {
  if (!take_key(c, key)) return false;
  size_t n = 0;
  const char *found = cbor_text(c, &n);
  if (!c->ok || n >= room || (n > 0 && memchr(found, 0, n) != nullptr)) return false;
  if (n > 0) memcpy(to, found, n);
  memset(to + n, 0, room - n);
  return true;
}

bool take_number(Cbor *c, uint64_t key, uint64_t *to) {
  if (!take_key(c, key)) return false;
  *to = cbor_unsigned(c);
  return c->ok;
}

bool read_manifest(const uint8_t *bytes, size_t n, Ticket *to) {
  Cbor c = cbor_over(bytes, n);
  uint64_t version = 0, size = 0;
  if (cbor_map(&c) != 9 || !take_number(&c, 1, &version) || version != kManifestVersion) return false;
  if (!take_number(&c, 2, &to->sequence) || to->sequence > static_cast<uint64_t>(INT64_MAX)) return false;
  if (!take_bytes(&c, 3, to->vendor_id, 16) || !take_bytes(&c, 4, to->class_id, 16)) return false;
  if (!take_text(&c, 5, to->node, sizeof to->node) || !take_text(&c, 6, to->format, sizeof to->format)) return false;
  if (!take_number(&c, 7, &size) || size == 0) return false;
  to->size_bytes = size > UINT32_MAX ? UINT32_MAX : static_cast<uint32_t>(size);  // either is more than any slot holds
  return take_bytes(&c, 8, to->sha256, 32) && take_text(&c, 9, to->release, sizeof to->release) && cbor_done(&c);
}

// A byte string's head and content, into the digest (RFC 8949 section 3.1; lengths here are below 65536).
void add_bytes(const Crypto &crypto, Sha256 *sha, const uint8_t *bytes, size_t n) {
  const uint8_t wide[3] = {0x59, static_cast<uint8_t>(n >> 8), static_cast<uint8_t>(n)};
  const uint8_t one[2] = {0x58, static_cast<uint8_t>(n)};
  const uint8_t tiny = static_cast<uint8_t>(0x40u | n);
  if (n < 24) crypto.sha256_add(sha, &tiny, 1);
  else if (n < 256) crypto.sha256_add(sha, one, sizeof one);
  else crypto.sha256_add(sha, wide, sizeof wide);
  crypto.sha256_add(sha, bytes, n);
}

bool for_this_class(const Ticket &ticket, const NodeBlock &block) {
  return memcmp(ticket.vendor_id, block.vendor_id, 16) == 0 && memcmp(ticket.class_id, block.class_id, 16) == 0 &&
         strcmp(ticket.format, format_text(static_cast<PayloadFormat>(block.payload_format))) == 0;
}

}  // namespace

void cose_digest(const Crypto &crypto, const uint8_t *protected_header, size_t protected_n, const uint8_t *payload,
                 size_t payload_n, uint8_t digest[32]) {
  static const uint8_t kContext[] = {0x84, 0x6A, 'S', 'i', 'g', 'n', 'a', 't', 'u', 'r', 'e', '1'};
  Sha256 sha;
  crypto.sha256_begin(&sha);
  crypto.sha256_add(&sha, kContext, sizeof kContext);
  add_bytes(crypto, &sha, protected_header, protected_n);
  add_bytes(crypto, &sha, payload, 0);
  add_bytes(crypto, &sha, payload, payload_n);
  crypto.sha256_end(&sha, digest);
}

const char *format_text(PayloadFormat format) {
  switch (format) {
    case PayloadFormat::kHostElf: return "host-elf";
    case PayloadFormat::kEsp8266Bin: return "esp8266-bin";
    case PayloadFormat::kEsp32Bin: return "esp32-bin";
  }
  return "?";  // check_node_block() has refused such a block
}

Code parse_ticket(const uint8_t *bytes, size_t n, const Crypto &crypto, Ticket *to, const uint8_t **key_id,
                  const uint8_t **signature, uint8_t *digest) {
  Envelope envelope = {};
  if (!read_envelope(bytes, n, &envelope)) return Code::kBadTicket;
  if (!read_manifest(envelope.payload, envelope.payload_n, to)) return Code::kBadTicket;
  if (key_id != nullptr) *key_id = envelope.key_id;
  if (signature != nullptr) *signature = envelope.signature;
  if (digest != nullptr)
    cose_digest(crypto, envelope.protected_header, envelope.protected_n, envelope.payload, envelope.payload_n, digest);
  return Code::kOk;
}

Code check_ticket(const uint8_t *bytes, size_t n, const NodeBlock &block, uint64_t floor, const Crypto &crypto, Ticket *to) {
  const uint8_t *key_id = nullptr;
  const uint8_t *signature = nullptr;
  uint8_t digest[32];
  if (parse_ticket(bytes, n, crypto, to, &key_id, &signature, digest) != Code::kOk) return Code::kBadTicket;
  if (memcmp(key_id, block.key_id, kKeyIdBytes) != 0) return Code::kUnknownKey;
  const Verified verified = crypto.es256_verify(block.signing_key, digest, signature);
  if (verified == Verified::kNoMemory) return Code::kNoMemory;
  if (verified != Verified::kGood) return Code::kBadTicketSignature;
  if (strncmp(to->node, block.node, sizeof to->node) != 0) return Code::kOtherNode;
  if (!for_this_class(*to, block)) return Code::kOtherClass;
  return to->sequence > floor ? Code::kOk : Code::kOldSequence;
}

}  // namespace tn
