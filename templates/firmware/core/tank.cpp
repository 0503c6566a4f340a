#include "tank.h"

namespace tn {

Level level_from(const Probe *probes, size_t count) {
  Level level{true, false, 0, kLevelUnknown};
  bool dry_below = false;
  int8_t wet = 0;
  for (size_t i = 0; i < count; ++i) {
    if (probes[i].state == ProbeState::kWet) {
      level.wet_marks = static_cast<uint8_t>(level.wet_marks | (1u << i));
      level.contradictory = level.contradictory || dry_below;
      ++wet;
    }
    dry_below = dry_below || probes[i].state == ProbeState::kDry;
    level.settled = level.settled && probes[i].state != ProbeState::kSettling;
  }
  if (level.settled && !level.contradictory) level.level = wet;
  return level;
}

}  // namespace tn
