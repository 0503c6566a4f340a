#include "probe.h"

namespace tn {

void probe_begin(Probe *probe) { *probe = Probe{ProbeState::kSettling, false, false, 0}; }

void probe_sample(Probe *probe, bool wet, uint64_t at_ms, uint32_t debounce_ms) {
  if (!probe->sampled || probe->reading_wet != wet) {
    probe->sampled = true;
    probe->reading_wet = wet;
    probe->since_ms = at_ms;
    return;
  }
  if (at_ms - probe->since_ms >= debounce_ms) probe->state = wet ? ProbeState::kWet : ProbeState::kDry;
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
