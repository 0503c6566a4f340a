// The ticket of an image (docs/node-interface.md section 5): COSE_Sign1, ES256, over a map of nine keys.
#ifndef TN_TICKET_H
#define TN_TICKET_H

#include "node_block.h"
#include "port.h"
#include "refusal.h"

namespace tn {

constexpr size_t kTicketBytes = 512;
constexpr size_t kKeyIdBytes = 8;

struct Ticket {
  uint64_t sequence;
  uint8_t vendor_id[16];
  uint8_t class_id[16];
  char node[64];  // NUL-terminated, as all texts here
  char format[16];
  uint32_t size_bytes;
  uint8_t sha256[32];
  char release[24];
};

// Reads without believing: form only, no signature. kOk or kBadTicket. `key_id` (8 bytes) and `signature` (64) point into
// `bytes`; `digest` (32) gets the SHA-256 of the Sig_structure. Any of the last three may be null.
Code parse_ticket(const uint8_t *bytes, size_t n, const Crypto &crypto, Ticket *to, const uint8_t **key_id,
                  const uint8_t **signature, uint8_t *digest);

// All checks of section 2, in the order of its table: bad-ticket, unknown-key, bad-ticket-signature, other-node, other-class,
// old-sequence. `to` is meaningful only after kOk and kOldSequence (for the refusal's detail).
Code check_ticket(const uint8_t *bytes, size_t n, const NodeBlock &block, uint64_t floor, const Crypto &crypto, Ticket *to);

// SHA-256 of the Sig_structure (RFC 9052 section 4.4): ["Signature1", protected, external data (empty), payload].
void cose_digest(const Crypto &crypto, const uint8_t *protected_header, size_t protected_n, const uint8_t *payload,
                 size_t payload_n, uint8_t digest[32]);

const char *format_text(PayloadFormat format);  // "host-elf"

}  // namespace tn

#endif
