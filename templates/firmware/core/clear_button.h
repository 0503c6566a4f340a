// A button to ground, or any wired input: held for kClearHoldMs without a break it clears the faults that stay, once a press. It
// counts only after it was seen released since the start, so that a line that is LOW for ever clears nothing.
#ifndef TN_CLEAR_BUTTON_H
#define TN_CLEAR_BUTTON_H

#include <stdint.h>

namespace tn {

constexpr uint64_t kClearHoldMs = 5000;

struct ClearButton {
  enum class At : uint8_t { kNotYetReleased = 0, kReleased, kPressed, kDone };
  At at;
  uint64_t since_ms;  // of the press
  uint64_t next_ms;   // when to look at it again
};

void clear_button_begin(ClearButton *button, uint64_t at_ms);
// One look. True: it was held long enough just now. Real time: it is a person who holds it.
bool clear_button_look(ClearButton *button, bool low, uint64_t at_ms);

}  // namespace tn

#endif
