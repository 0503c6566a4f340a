#include "clear_button.h"

namespace tn {

using At = ClearButton::At;

void clear_button_begin(ClearButton *button, uint64_t at_ms) { *button = ClearButton{At::kNotYetReleased, at_ms, at_ms}; }

bool clear_button_look(ClearButton *button, bool low, uint64_t at_ms) {
  if (!low) {
    button->at = At::kReleased;
  } else if (button->at == At::kReleased) {
    button->at = At::kPressed;
    button->since_ms = at_ms;
  } else if (button->at == At::kPressed && at_ms - button->since_ms >= kClearHoldMs) {
    button->at = At::kDone;
    return true;
  }
  return false;
}

}  // namespace tn
