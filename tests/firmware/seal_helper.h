// New network credentials, sealed as the tool seals them: with BearSSL's AES-GCM, and the core's HKDF for the key.
#ifndef TN_TEST_SEAL_HELPER_H
#define TN_TEST_SEAL_HELPER_H

#include <bearssl.h>
#include <string.h>

#include "core/hkdf.h"
#include "core/network_body.h"
#include "ports/host/crypto_bearssl.h"

namespace sealed {

struct Text {
  unsigned char at[tn::kNetworkTextBytes];
};
struct Body {
  unsigned char at[tn::kNetworkBodyBytes];
};

inline Text text_of(const char *name, const char *passphrase, unsigned trial_s) {
  Text text = {};
  memcpy(text.at, name, strlen(name));
  memcpy(text.at + tn::kNetworkNameBytes, passphrase, strlen(passphrase));
  text.at[97] = static_cast<unsigned char>(trial_s & 0xFFu);
  text.at[98] = static_cast<unsigned char>(trial_s >> 8);
  return text;
}

inline Body body_of(const Text &text, const unsigned char node_key[32], const char *node, unsigned char iv) {
  Body body = {};
  unsigned char key[32];
  tn::hkdf_sha256(*tn::bearssl_crypto(), tn::Slice{reinterpret_cast<const char *>(node_key), 32}, tn::Slice{nullptr, 0},
                  tn::slice("tankfleet network key v1:"), tn::slice(node), key, sizeof key);
  memset(body.at, iv, tn::kSealIvBytes);
  memcpy(body.at + tn::kSealIvBytes, text.at, sizeof text.at);
  br_aes_ct_ctr_keys aes;
  br_gcm_context gcm;
  br_aes_ct_ctr_init(&aes, key, sizeof key);
  br_gcm_init(&gcm, &aes.vtable, br_ghash_ctmul32);
  br_gcm_reset(&gcm, body.at, tn::kSealIvBytes);
  br_gcm_aad_inject(&gcm, node, strlen(node));
  br_gcm_flip(&gcm);
  br_gcm_run(&gcm, 1, body.at + tn::kSealIvBytes, sizeof text.at);
  br_gcm_get_tag(&gcm, body.at + tn::kSealIvBytes + sizeof text.at);
  return body;
}

}  // namespace sealed

#endif
