// One probe: what the pin reads, and what it has read long enough to be believed.
#ifndef TN_PROBE_H
#define TN_PROBE_H

#include <stdint.h>

namespace tn {

enum class ProbeState : uint8_t { kSettling = 0, kDry = 1, kWet = 2, kFlapping = 3 };

struct Probe {
  ProbeState state;  // the debounced state; once it has left settling it does not come back
  bool reading_wet;  // the last sample
  bool sampled;
  uint64_t since_ms;  // of the first sample in a row that read the same
};

void probe_begin(Probe *probe);

// One sample. A reading is believed when it has stayed the same for `debounce_ms` of process time.
void probe_sample(Probe *probe, bool wet, uint64_t at_ms, uint32_t debounce_ms);

const char *probe_state_text(ProbeState state);

}  // namespace tn

#endif
