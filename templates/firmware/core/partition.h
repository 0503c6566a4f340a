// Where things lie in a node's flash. The slot logic takes any such map; the bench's is kHostTwoSlot or kHostCopyInPlace.
#ifndef TN_PARTITION_H
#define TN_PARTITION_H

#include "node_block.h"

namespace tn {

constexpr uint32_t kSectorBytes = 4096;

struct Area {
  uint32_t at;
  uint32_t bytes;  // whole sectors
};

// Image areas. Two-slot: 0 = slot a, 1 = slot b, [2] empty. Copy-in-place: 0 = run, 1 = staging, 2 = keep, equally long.
struct Partition {
  Layout layout;
  Area credentials[2];
  Area records[2];
  Area images[3];
  // ESP32 family: the boot loader's own two sectors (otadata.h), which it goes by instead of the trial record. Else empty.
  Area otadata = {0, 0};
  Area runs = {0, 0};   // the record of runs (run_log.h); empty: this map was made before there was one
  Area later = {0, 0};  // kept free
};
constexpr uint32_t kRunsBytes = 16 * kSectorBytes, kLaterBytes = 8 * kSectorBytes;

constexpr uint32_t kHostFlashBytes = 0x418000;
constexpr uint32_t kOldHostFlashBytes = 0x400000;  // of a file that was made before there was a record of runs
constexpr Partition kHostTwoSlot = {
    Layout::kTwoSlot,
    {{0x000000, kSectorBytes}, {0x003000, kSectorBytes}},
    {{0x001000, kSectorBytes}, {0x002000, kSectorBytes}},
    {{0x010000, 0x1F8000}, {0x208000, 0x1F8000}, {0, 0}},
    {0, 0},
    {0x400000, kRunsBytes},
    {0x410000, kLaterBytes},
};
constexpr Partition kHostCopyInPlace = {
    Layout::kCopyInPlace,
    {{0x000000, kSectorBytes}, {0x003000, kSectorBytes}},
    {{0x001000, kSectorBytes}, {0x002000, kSectorBytes}},
    {{0x010000, 0x150000}, {0x160000, 0x150000}, {0x2B0000, 0x150000}},
    {0, 0},
    {0x400000, kRunsBytes},
    {0x410000, kLaterBytes},
};

}  // namespace tn

#endif
