// The chip's flash: which areas a node has, from the partition table that is on it (templates/node/partitions.csv.j2), and
// tn::Flash over them. Nothing outside of these areas is ever erased or programmed.
#ifndef TN_FLASH_MAP_H
#define TN_FLASH_MAP_H

#include "../../core/partition.h"
#include "../../core/port.h"

namespace tn {

// Of our own partitions: an application-defined type of esp-idf (0x40 to 0xFE).
constexpr uint8_t kTankPartitionType = 0x40;
constexpr uint8_t kCredentialsSubtype = 0x00;  // two sectors
constexpr uint8_t kRecordsSubtype = 0x01;  // two sectors
constexpr uint8_t kRunsSubtype = 0x02;     // kRunsBytes; a board that was flashed before there was one lacks it
constexpr uint8_t kLaterSubtype = 0x03;    // kLaterBytes

struct FlashMap {
  Partition partition;
  uint8_t area;  // of the running image: 0 = slot a, 1 = slot b
  Flash flash;
};

// False: the table lacks one of the areas that every node has; what lacks is empty, and the node has the faults `no-key` and
// `no-record`. Without the area of runs it has the fault `no-run-record`, and all else works.
bool read_flash_map(FlashMap *map);

}  // namespace tn

#endif
