// tn::Crypto from Mbed TLS: SHA-256 (by the chip's engine where it is free), HMAC-SHA256, ECDSA P-256 verification.
//
// Mbed TLS takes working memory from the heap: HMAC two small blocks for its contexts, a verification up to some KiB for its large
// numbers (docs/board-esp32.md). All of it is given back before the call returns; when there is none left the call fails: a
// signature that cannot be checked is not good, and a MAC that cannot be computed is one that matches nothing.
#ifndef TN_CRYPTO_MBEDTLS_H
#define TN_CRYPTO_MBEDTLS_H

#include "../../core/port.h"

namespace tn {

const Crypto *mbedtls_crypto();

}  // namespace tn

#endif
