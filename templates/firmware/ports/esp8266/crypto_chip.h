// tn::Crypto from the core's BearSSL: SHA-256, HMAC-SHA256, ECDSA P-256 verification, AES-256-GCM.
#ifndef TN_ESP8266_CRYPTO_CHIP_H
#define TN_ESP8266_CRYPTO_CHIP_H

#include "../../core/port.h"

namespace tn {

const Crypto *chip_crypto();

}  // namespace tn

#endif
