// tn::Crypto from BearSSL: SHA-256, HMAC-SHA256, ECDSA P-256 verification, AES-256-GCM.
#ifndef TN_CRYPTO_BEARSSL_H
#define TN_CRYPTO_BEARSSL_H

#include "../../core/port.h"

namespace tn {

const Crypto *bearssl_crypto();

}  // namespace tn

#endif
