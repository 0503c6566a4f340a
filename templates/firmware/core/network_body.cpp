#include "network_body.h"

#include "hkdf.h"

namespace tn {

namespace {

constexpr char kInfo[] = "tankfleet network key v1:";

// Chars before the first NUL of a field that is NUL-terminated and NUL-padded; `n` when it is not.
size_t padded_chars(const uint8_t *field, size_t n) {
  size_t chars = 0;
  while (chars < n && field[chars] != 0) ++chars;
  for (size_t i = chars; i < n; ++i) {
    if (field[i] != 0) return n;
  }
  return chars;
}

bool is_passphrase(const uint8_t *text, size_t chars) {
  if (chars == 0) return true;  // an open network
  if (chars < kLeastPassphraseChars || chars >= kPassphraseBytes) return false;
  for (size_t i = 0; i < chars; ++i) {
    if (text[i] < 0x20 || text[i] > 0x7E) return false;
  }
  return true;
}

bool read_text(const uint8_t *text, NewNetwork *to) {
  const uint8_t *const passphrase = text + kNetworkNameBytes, *const trial = passphrase + kPassphraseBytes;
  const size_t name_chars = padded_chars(text, kNetworkNameBytes), chars = padded_chars(passphrase, kPassphraseBytes);
  const uint16_t trial_s = static_cast<uint16_t>(trial[0] | trial[1] << 8);
  if (name_chars == 0 || name_chars >= kNetworkNameBytes || !is_passphrase(passphrase, chars)) return false;
  if (trial_s < kLeastNetworkTrialS) return false;
  *to = NewNetwork{};
  memcpy(to->network.name, text, kNetworkNameBytes);
  memcpy(to->network.passphrase, passphrase, kPassphraseBytes);
  to->trial_s = trial_s;
  return true;
}

}  // namespace

Code open_network_body(const Crypto &crypto, const uint8_t node_key[32], Slice node, uint8_t body[kNetworkBodyBytes],
                       NewNetwork *to) {
  uint8_t key[32];
  uint8_t *const text = body + kSealIvBytes;
  const Slice of_node{reinterpret_cast<const char *>(node_key), 32};
  const Verified opened =
      hkdf_sha256(crypto, of_node, Slice{nullptr, 0}, slice(kInfo), node, key, sizeof key)
          ? crypto.aes256_gcm_open(key, body, node.at, node.n, text, kNetworkTextBytes, text + kNetworkTextBytes)
          : Verified::kNoMemory;
  const bool good = opened == Verified::kGood && read_text(text, to);
  wipe(key, sizeof key);
  wipe(body, kNetworkBodyBytes);
  if (opened == Verified::kNoMemory) return Code::kNoMemory;
  return good ? Code::kOk : Code::kBadCredentials;
}

void wipe(void *secret, size_t n) {
  volatile uint8_t *at = static_cast<volatile uint8_t *>(secret);
  for (size_t i = 0; i < n; ++i) at[i] = 0;
}

}  // namespace tn
