// Reads deterministic CBOR (RFC 8949 section 4.2.1) from a bounded buffer. Whatever is not the shortest form, of indefinite
// length, or longer than the buffer is refused; the first refusal sticks (`ok` turns false and stays so).
#ifndef TN_CBOR_H
#define TN_CBOR_H

#include <stddef.h>
#include <stdint.h>

namespace tn {

struct Cbor {
  const uint8_t *at;
  size_t left;
  bool ok;
};

Cbor cbor_over(const uint8_t *bytes, size_t n);

// Each reads one head (and content) of exactly that major type; on refusal: 0 or null.
uint64_t cbor_unsigned(Cbor *c);
int64_t cbor_integer(Cbor *c);  // major type 0 or 1 that fits in 64 bits, signed
const uint8_t *cbor_bytes(Cbor *c, size_t *n);
const char *cbor_text(Cbor *c, size_t *n);  // well-formed UTF-8 only
size_t cbor_array(Cbor *c);                 // number of items to follow
size_t cbor_map(Cbor *c);                   // number of pairs to follow
uint64_t cbor_tag(Cbor *c);

bool cbor_done(const Cbor *c);  // all went well and nothing is left

}  // namespace tn

#endif
