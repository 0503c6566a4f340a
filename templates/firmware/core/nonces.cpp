#include "nonces.h"

#include <string.h>

namespace tn {

void nonces_begin(Nonces *nonces, const uint8_t random[16], uint64_t now_ms) {
  nonce_from(random, nonces->present);
  nonces->before[0] = '\0';
  nonces->made_ms = nonces->before_made_ms = now_ms;
}

bool nonces_due(const Nonces &nonces, uint64_t now_ms) { return now_ms - nonces.made_ms >= kNonceTurnMs; }

void nonces_turn(Nonces *nonces, const uint8_t random[16], uint64_t now_ms) {
  memcpy(nonces->before, nonces->present, sizeof nonces->before);
  nonces->before_made_ms = nonces->made_ms;
  nonce_from(random, nonces->present);
  nonces->made_ms = now_ms;
}

const char *nonces_before(const Nonces &nonces, uint64_t now_ms) {
  const bool counts = nonces.before[0] != '\0' && now_ms - nonces.before_made_ms < kNonceLifeMs;
  return counts ? nonces.before : nullptr;
}

}  // namespace tn
