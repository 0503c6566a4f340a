#include "join.h"

namespace tn {

namespace {

JoinWork radio(Join *join, bool on, uint64_t next_ms) {
  join->radio_on = on;
  join->next_ms = next_ms;
  return on ? JoinWork::kBegin : JoinWork::kEnd;
}

bool lost(const Join &join, uint64_t now_ms) {
  return !join.steady && join.lost_after_s != 0 && now_ms - join.since_ms >= static_cast<uint64_t>(join.lost_after_s) * 1000u;
}

}  // namespace

const char *join_state_text(JoinState state) {
  return state == JoinState::kJoined ? "joined" : state == JoinState::kSeeking ? "seeking" : "waiting";
}

void join_begin(Join *join, uint32_t lost_after_s, uint64_t now_ms) {
  *join = Join{};
  join->lost_after_s = lost_after_s;
  join_at_once(join, now_ms);
}

void join_at_once(Join *join, uint64_t now_ms) {
  join->state = JoinState::kSeeking;
  join->since_ms = join->next_ms = now_ms;
  join->pause_ms = join->steady ? kSteadyPauseMs : kFirstPauseMs;
}

void join_steady(Join *join, bool steady) {
  join->steady = steady;
  join->pause_ms = steady ? kSteadyPauseMs : kFirstPauseMs;
}

JoinWork join_step(Join *join, bool up, uint64_t now_ms) {
  if (up) {
    if (join->state != JoinState::kJoined) join->since_ms = now_ms;
    join->state = JoinState::kJoined;
    return JoinWork::kNothing;
  }
  if (join->state == JoinState::kJoined) {  // lost just now: the radio is on and may find back by itself
    join_at_once(join, now_ms);
    join->next_ms = now_ms + join->pause_ms;
    return JoinWork::kNothing;
  }
  if (join->state == JoinState::kSeeking && lost(*join, now_ms)) {
    join->state = JoinState::kWaiting;
    return radio(join, false, now_ms + kWaitingPauseMs);
  }
  if (now_ms < join->next_ms) return JoinWork::kNothing;
  if (join->state == JoinState::kWaiting) {
    return join->radio_on ? radio(join, false, now_ms + kWaitingPauseMs) : radio(join, true, now_ms + kWaitingTryMs);
  }
  const JoinWork work = radio(join, true, now_ms + join->pause_ms);
  if (!join->steady && join->pause_ms < kLongestPauseMs) join->pause_ms *= 2;
  return work;
}

}  // namespace tn
