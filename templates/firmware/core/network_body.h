// The body of PUT /v1/network: new network credentials, sealed for one node (docs/node-interface.md section 4).
#ifndef TN_NETWORK_BODY_H
#define TN_NETWORK_BODY_H

#include "credentials.h"
#include "slice.h"

namespace tn {

constexpr size_t kSealIvBytes = 12;
constexpr size_t kSealTagBytes = 16;
constexpr size_t kNetworkTextBytes = kNetworkNameBytes + kPassphraseBytes + 2;  // and the trial time, little endian
constexpr size_t kNetworkBodyBytes = kSealIvBytes + kNetworkTextBytes + kSealTagBytes;
static_assert(kNetworkTextBytes == 99 && kNetworkBodyBytes == 127, "as the page says");
static_assert(kNetworkTextBytes <= kSealedBytes, "the ports open that much");

constexpr uint16_t kLeastNetworkTrialS = 60;
constexpr size_t kLeastPassphraseChars = 8;  // of one that is there (WPA: 8 to 63)

struct NewNetwork {
  Network network;
  uint16_t trial_s;
};

// Opens the body where it lies, which holds nothing of it afterwards. kBadCredentials: not sealed with this node's key, or for
// another, or what is in it cannot be. kNoMemory: it was not looked at.
Code open_network_body(const Crypto &crypto, const uint8_t node_key[32], Slice node, uint8_t body[kNetworkBodyBytes],
                       NewNetwork *to);

void wipe(void *secret, size_t n);  // is not left out because nobody reads it afterwards

}  // namespace tn

#endif
