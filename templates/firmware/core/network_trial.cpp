#include "network_trial.h"

namespace tn {

namespace {

void begin(NetworkTrial *trial, uint16_t trial_s, uint64_t now_ms) {
  trial->running = true;
  trial->leaving = false;
  trial->next = Which::kNew;
  trial->trial_s = trial_s;
  trial->begun_ms = now_ms;
  trial->over_ms = now_ms + static_cast<uint64_t>(trial_s) * 1000u;
}

}  // namespace

void network_trial_none(NetworkTrial *trial) { *trial = NetworkTrial{}; }

void network_trial_resume(NetworkTrial *trial, uint16_t trial_s, uint64_t now_ms) {
  network_trial_none(trial);
  begin(trial, trial_s, now_ms);
}

void network_trial_give(NetworkTrial *trial, uint16_t trial_s, uint64_t now_ms) {
  begin(trial, trial_s, now_ms);
  trial->calling = Which::kKept;  // even if it is what was new before
  trial->due = true;
  trial->leave_ms = now_ms + kLeaveAfterMs;
}

void network_trial_end(NetworkTrial *trial, bool leave) {
  trial->running = trial->due = false;
  trial->leaving = leave;
  trial->calling = trial->next = Which::kKept;
}

void network_trial_unwritten(NetworkTrial *trial, uint64_t now_ms) { trial->over_ms = now_ms + kPutBackAgainMs; }

TrialWork network_trial_step(NetworkTrial *trial, bool up, uint64_t now_ms) {
  if (!up) trial->leaving = false;
  if (!trial->running) return TrialWork::kNothing;
  if (now_ms >= trial->over_ms) return TrialWork::kOver;
  if (!trial->due || now_ms < trial->leave_ms) return TrialWork::kNothing;
  trial->due = false;
  trial->leaving = up;
  return TrialWork::kLeave;
}

Which network_trial_call(NetworkTrial *trial) {
  trial->calling = trial->next;
  if (trial->running) trial->next = trial->calling == Which::kNew ? Which::kKept : Which::kNew;
  return trial->calling;
}

bool network_trial_joined(const NetworkTrial &trial, Which which, bool up) {
  return up && !trial.leaving && trial.calling == which;
}

uint64_t network_trial_left_ms(const NetworkTrial &trial, uint64_t now_ms) {
  const uint64_t over_ms = trial.begun_ms + static_cast<uint64_t>(trial.trial_s) * 1000u;
  return trial.running && now_ms < over_ms ? over_ms - now_ms : 0;
}

}  // namespace tn
