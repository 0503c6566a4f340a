// HKDF with SHA-256 (RFC 5869) over the port's HMAC.
#ifndef TN_HKDF_H
#define TN_HKDF_H

#include "port.h"
#include "slice.h"

namespace tn {

// `info` in two parts, one after the other; either may be empty. False: more than the 255 blocks of 32 bytes that RFC 5869
// allows, or no memory.
bool hkdf_sha256(const Crypto &crypto, Slice key, Slice salt, Slice info, Slice more_info, uint8_t *out, size_t n);

}  // namespace tn

#endif
