// Why a virtual node starts, as its boot loader and its image are told: --reset WORD, the words of the state document.
#ifndef TN_HOST_RESET_WORD_H
#define TN_HOST_RESET_WORD_H

#include <string.h>

#include "../../core/node_view.h"

namespace tn {

inline bool read_reset(const char *text, Reset *to) {
  for (uint8_t i = 0; i <= static_cast<uint8_t>(Reset::kBrownOut); ++i) {
    if (strcmp(text, reset_text(static_cast<Reset>(i))) != 0) continue;
    *to = static_cast<Reset>(i);
    return true;
  }
  return false;
}

}  // namespace tn

#endif
