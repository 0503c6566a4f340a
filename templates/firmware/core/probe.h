// One probe: what the pin reads, and what it has read long enough to be believed.
//
// Waves at a mark, splashes and loose contacts make readings change faster than the debounce. Splashes are rare and ignored;
// a probe that reads otherwise than believed for more than a fifth of the time, without holding it, flaps.
#ifndef TN_PROBE_H
#define TN_PROBE_H

#include <stdint.h>

namespace tn {

enum class ProbeState : uint8_t { kSettling = 0, kDry = 1, kWet = 2, kFlapping = 3 };

constexpr uint32_t kUnrestWeight = 4;     // a reading unlike the believed one counts so much, one like it counts once back
constexpr uint32_t kUnrestDebounces = 6;  // more than this of it is flapping; a clean change takes kUnrestWeight
constexpr uint32_t kCalmDebounces = 2;    // a flapping probe is believed again once a reading was held so long

struct Probe {
  ProbeState state;  // the debounced state; once it has left settling it does not come back
  bool reading_wet;  // the last sample
  bool sampled;
  uint32_t unrest_ms;
  uint64_t since_ms;    // of the first sample in a row that read the same
  uint64_t sampled_ms;  // of the last sample
};

void probe_begin(Probe *probe);

// One sample. A reading is believed when it has stayed the same for `debounce_ms` of process time.
void probe_sample(Probe *probe, bool wet, uint64_t at_ms, uint32_t debounce_ms);

const char *probe_state_text(ProbeState state);

}  // namespace tn

#endif
