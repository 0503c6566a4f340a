// The level of one tank from its probes, from the lowest mark up.
#ifndef TN_TANK_H
#define TN_TANK_H

#include <stddef.h>
#include <stdint.h>

#include "node_block.h"
#include "probe.h"

namespace tn {

constexpr int8_t kLevelUnknown = -1;

struct Level {
  bool settled;        // every probe has left settling
  bool contradictory;  // a higher mark is wet and a lower one is dry
  uint8_t wet_marks;   // bit i: mark i is wet
  int8_t level;        // number of wet marks, 0 when all are dry; kLevelUnknown while not settled or contradictory
};

Level level_from(const Probe *probes, size_t count);

inline bool mark_is_wet(const Level &level, uint8_t mark) { return ((level.wet_marks >> mark) & 1u) != 0; }

}  // namespace tn

#endif
