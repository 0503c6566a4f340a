// New network credentials on trial: which of the two networks is called for, when the node leaves the old one to look for the new,
// and when the trial is over. Both are called for by turns, the new one first, and the node stays on whichever it joins until it
// loses it: so it does not matter whether the access point changes before or after the nodes are told. Pure, as join.h is, which
// says when to call; what is held is the affair of credentials.h.
#ifndef TN_NETWORK_TRIAL_H
#define TN_NETWORK_TRIAL_H

#include "credentials.h"

namespace tn {

constexpr uint32_t kLeaveAfterMs = 1000;  // from the answer on, which the old network has to carry
constexpr uint32_t kPutBackAgainMs = 60000;  // the record could not be written: when to try again

enum class TrialWork : uint8_t {
  kNothing,
  kLeave,  // radio off; call for a network once it is down
  kOver    // the trial's time is over: put the new credentials back
};

struct NetworkTrial {
  bool running;
  bool leaving;  // the radio was told to leave its network: what it still says of that one does not count
  bool due;      // the network that the node is on is still to be left
  Which calling;  // for this one the radio was told to look last
  Which next;
  uint16_t trial_s;
  uint64_t begun_ms;
  uint64_t leave_ms;
  uint64_t over_ms;
};

void network_trial_none(NetworkTrial *trial);  // none since the start
void network_trial_resume(NetworkTrial *trial, uint16_t trial_s, uint64_t now_ms);  // at a start; the time begins anew
void network_trial_give(NetworkTrial *trial, uint16_t trial_s, uint64_t now_ms);    // new credentials were taken just now
void network_trial_end(NetworkTrial *trial, bool leave);  // one network is left; `leave`: and it is not the one that the node is on
void network_trial_unwritten(NetworkTrial *trial, uint64_t now_ms);  // the end could not be written down

TrialWork network_trial_step(NetworkTrial *trial, bool up, uint64_t now_ms);
Which network_trial_call(NetworkTrial *trial);  // the radio is called now: for which network
bool network_trial_joined(const NetworkTrial &trial, Which which, bool up);
uint64_t network_trial_left_ms(const NetworkTrial &trial, uint64_t now_ms);

}  // namespace tn

#endif
