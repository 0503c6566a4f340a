// The nonces of a node: what a signed request has to carry so that it can be obeyed once, and only for a short time.
//
// The present one is handed out with the state for 30 s; then another takes its place, and it counts for 30 s more. So each counts
// for at least 30 s and at most 60 s after it was handed out: a request that somebody holds back is worth nothing a minute later.
// They turn by the clock alone: whoever reads the state keeps none alive and uses none up.
#ifndef TN_NONCES_H
#define TN_NONCES_H

#include "signature.h"

namespace tn {

constexpr uint64_t kNonceTurnMs = 30000;             // for so long one is handed out
constexpr uint64_t kNonceLifeMs = 2 * kNonceTurnMs;  // for so long it counts, from its making

struct Nonces {
  char present[kNonceChars + 1];
  char before[kNonceChars + 1];  // "": none that counts
  uint64_t made_ms;              // the present one
  uint64_t before_made_ms;
};

// Anew, at a start or when one was used: both that there were are worth nothing from now on.
void nonces_begin(Nonces *nonces, const uint8_t random[16], uint64_t now_ms);
bool nonces_due(const Nonces &nonces, uint64_t now_ms);                        // time for another one
void nonces_turn(Nonces *nonces, const uint8_t random[16], uint64_t now_ms);  // when that is so
// The one before, while it counts; else null.
const char *nonces_before(const Nonces &nonces, uint64_t now_ms);

}  // namespace tn

#endif
