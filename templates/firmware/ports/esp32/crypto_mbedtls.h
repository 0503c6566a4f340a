// tn::Crypto from Mbed TLS: SHA-256 (by the chip's engine where it is free), HMAC-SHA256, ECDSA P-256 verification.
//
// Mbed TLS takes working memory from the heap: HMAC two small blocks for its contexts, a verification up to some KiB for its large
// numbers (docs/board-esp32.md). AES-GCM a few words for the chip's
// engine. All of it is given back before the call returns; when there is none left the call says so, and nothing is called bad for it.
// SHA-256 takes none but a DMA channel that the S3 and C3 keep from their first digest on, which is one of the radio's
// (esp-idf 4.4.7, crypto_shared_gdma/esp_crypto_shared_gdma.c:101).
#ifndef TN_CRYPTO_MBEDTLS_H
#define TN_CRYPTO_MBEDTLS_H

#include "../../core/port.h"

namespace tn {

const Crypto *mbedtls_crypto();

}  // namespace tn

#endif
