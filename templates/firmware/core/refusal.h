// Every answer of docs/node-interface.md section 2: one code, its HTTP status, its wire text and its title.
#ifndef TN_REFUSAL_H
#define TN_REFUSAL_H

#include <stdint.h>

namespace tn {

enum class Code : uint8_t {
  kOk = 0,
  kBadRequest,
  kNoSignature,
  kBadSignature,
  kNonceUsed,
  kBadTicket,
  kUnknownKey,
  kBadTicketSignature,
  kOtherNode,
  kOtherClass,
  kOldSequence,
  kBadCredentials,
  kNotFound,
  kBadMethod,
  kOnTrial,
  kNotOnTrial,
  kNoOlderImage,
  kBusy,
  kNoFault,
  kLengthRequired,
  kTooBig,
  kWrongSize,
  kWrongDigest,
  kFlashFailed,
  kNoMemory,
  kCrowded,
};
constexpr uint8_t kCodeCount = static_cast<uint8_t>(Code::kCrowded) + 1;

uint16_t status_of(Code code);      // 403; 200 for kOk
const char *text_of(Code code);     // "old-sequence"
const char *title_of(Code code);    // "Sequence is not above the floor"

}  // namespace tn

#endif
