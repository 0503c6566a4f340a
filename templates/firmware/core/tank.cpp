#include "tank.h"

namespace tn {

namespace {

// Going up, no mark may be wetter than the one below it.
uint8_t wetness(ProbeState state) {
  return state == ProbeState::kWet ? 2 : state == ProbeState::kFlapping ? 1 : 0;
}

}  // namespace

Level level_from(const Probe *probes, size_t count) {
  Level level{true, false, 0, 0, 0, kLevelUnknown};
  bool in_order = true;
  int8_t wet = 0;
  for (size_t i = 0; i < count; ++i) {
    const ProbeState state = probes[i].state;
    const auto bit = static_cast<uint8_t>(1u << i);
    in_order = in_order && (i == 0 || wetness(state) <= wetness(probes[i - 1].state));
    level.settled = level.settled && state != ProbeState::kSettling;
    if (state == ProbeState::kWet) {
      ++wet;
      level.wet_marks = static_cast<uint8_t>(level.wet_marks | bit);
      level.contradictory = level.contradictory || level.dry_marks != 0;
    }
    if (state == ProbeState::kDry) level.dry_marks = static_cast<uint8_t>(level.dry_marks | bit);
    if (state == ProbeState::kFlapping) level.flapping_marks = static_cast<uint8_t>(level.flapping_marks | bit);
  }
  if (level.settled && in_order) level.level = wet;
  return level;
}

}  // namespace tn
