// When a node looks for its network, and when it leaves it at that. A node never opens a network, portal or door of its own:
// while its network is away it controls its tanks, looks for the one network that it was given, and after the time of the node
// block it switches the radio off and looks only now and then. The way back in is USB (docs/node-interface.md section 10).
#ifndef TN_JOIN_H
#define TN_JOIN_H

#include <stdint.h>

namespace tn {

constexpr uint32_t kFirstPauseMs = 10000;      // from one call of Port::join to the next while seeking; doubles
constexpr uint32_t kLongestPauseMs = 160000;
constexpr uint32_t kSteadyPauseMs = 30000;     // the same while two networks are called for by turns; does not grow
constexpr uint32_t kWaitingTryMs = 60000;      // waiting: a look at the network lasts this long,
constexpr uint32_t kWaitingPauseMs = 900000;   // and the radio is off for this long between two looks

enum class JoinState : uint8_t {
  kJoined,
  kSeeking,
  kWaiting  // lost for longer than the node block allows: radio off but for a look now and then
};
const char *join_state_text(JoinState state);  // "joined", "seeking", "waiting"

enum class JoinWork : uint8_t { kNothing, kBegin, kEnd };  // what the caller does with the radio now

struct Join {
  JoinState state;
  bool radio_on;
  bool steady;  // new credentials are on trial: a fair time for each call, and no waiting
  uint32_t lost_after_s;  // 0: seek for ever
  uint32_t pause_ms;
  uint64_t since_ms;  // of this state; of the loss, while seeking or waiting
  uint64_t next_ms;   // when to do something again
};

void join_begin(Join *join, uint32_t lost_after_s, uint64_t now_ms);
JoinWork join_step(Join *join, bool up, uint64_t now_ms);
void join_at_once(Join *join, uint64_t now_ms);  // a person asks: seek anew, with the full time
void join_steady(Join *join, bool steady);        // from the next call on

}  // namespace tn

#endif
