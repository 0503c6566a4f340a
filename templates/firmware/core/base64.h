// Base64 (RFC 4648 section 4, padded, for structured fields) and base64url without padding (section 5, for nonces).
#ifndef TN_BASE64_H
#define TN_BASE64_H

#include "slice.h"

namespace tn {

constexpr size_t base64_chars(size_t bytes) { return (bytes + 2) / 3 * 4; }
constexpr size_t base64url_chars(size_t bytes) { return (bytes * 4 + 2) / 3; }

// Characters written (no NUL), or 0 when they do not fit (or n is 0).
size_t base64_encode(const uint8_t *from, size_t n, char *to, size_t room);
size_t base64url_encode(const uint8_t *from, size_t n, char *to, size_t room);

// False for a foreign character, wrong padding, bits left over that are not zero, or no room. `n` gets the bytes written.
bool base64_decode(Slice text, uint8_t *to, size_t room, size_t *n);
bool base64url_decode(Slice text, uint8_t *to, size_t room, size_t *n);

}  // namespace tn

#endif
