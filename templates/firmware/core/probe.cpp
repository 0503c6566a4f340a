#include "probe.h"

namespace tn {

namespace {

ProbeState believed(bool wet) { return wet ? ProbeState::kWet : ProbeState::kDry; }

// The time since the last sample counts as what that sample read; at most a debounce of it, for a loop may stand still.
void weigh(Probe *probe, uint64_t at_ms, uint32_t debounce_ms) {
  const uint64_t passed_ms = at_ms - probe->sampled_ms;
  const uint32_t counted_ms = passed_ms < debounce_ms ? static_cast<uint32_t>(passed_ms) : debounce_ms;
  if (probe->state == ProbeState::kSettling) {
    probe->unrest_ms += counted_ms;
  } else if (probe->state != believed(probe->reading_wet)) {
    probe->unrest_ms += kUnrestWeight * counted_ms;
  } else {
    probe->unrest_ms -= counted_ms < probe->unrest_ms ? counted_ms : probe->unrest_ms;
  }
}

}  // namespace

void probe_begin(Probe *probe) { *probe = Probe{ProbeState::kSettling, false, false, 0, 0, 0}; }

void probe_sample(Probe *probe, bool wet, uint64_t at_ms, uint32_t debounce_ms) {
  const bool flaps = probe->state == ProbeState::kFlapping;
  if (probe->sampled && !flaps) weigh(probe, at_ms, debounce_ms);
  if (!probe->sampled || probe->reading_wet != wet) {
    probe->sampled = true;
    probe->reading_wet = wet;
    probe->since_ms = at_ms;
  } else if (at_ms - probe->since_ms >= (flaps ? kCalmDebounces : 1) * debounce_ms) {
    if (probe->state != believed(wet)) probe->unrest_ms = 0;
    probe->state = believed(wet);
  }
  probe->sampled_ms = at_ms;
  if (probe->unrest_ms > kUnrestDebounces * debounce_ms) {
    probe->state = ProbeState::kFlapping;
    probe->unrest_ms = 0;
  }
}

const char *probe_state_text(ProbeState state) {
  switch (state) {
    case ProbeState::kSettling: return "settling";
    case ProbeState::kDry: return "dry";
    case ProbeState::kWet: return "wet";
    case ProbeState::kFlapping: return "flapping";
  }
  return "settling";
}

}  // namespace tn
