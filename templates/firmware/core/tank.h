// The level of one tank from its probes, from the lowest mark up.
#ifndef TN_TANK_H
#define TN_TANK_H

#include <stddef.h>
#include <stdint.h>

#include "node_block.h"
#include "probe.h"

namespace tn {

constexpr int8_t kLevelUnknown = -1;

// Marks in sets: bit i is mark i. A flapping mark is neither wet nor dry: by itself it contradicts nothing.
struct Level {
  bool settled;        // every probe has left settling
  bool contradictory;  // a higher mark is wet and a lower one is dry
  uint8_t wet_marks;
  uint8_t dry_marks;
  uint8_t flapping_marks;
  int8_t level;  // number of wet marks, 0 when none is; kLevelUnknown unless, from the lowest up, come the wet marks, then
                 // those that flap (the surface may be at them), then the dry ones
};

Level level_from(const Probe *probes, size_t count);

inline bool has_mark(uint8_t marks, uint8_t mark) { return ((marks >> mark) & 1u) != 0; }

}  // namespace tn

#endif
