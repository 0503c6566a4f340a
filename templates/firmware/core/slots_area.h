// Work on image areas, a sector at a time and with little stack: digest, compare, copy.
#ifndef TN_SLOTS_AREA_H
#define TN_SLOTS_AREA_H

#include "partition.h"
#include "port.h"

namespace tn {

// Adds the next part (at most one sector) of the area's first `bytes` to the digest and moves `done` on.
bool hash_sector(const Flash &flash, const Crypto &crypto, const Area &area, uint32_t bytes, uint32_t *done, Sha256 *sha);
// Do the first `bytes` of the area have that digest?
bool area_matches(const Flash &flash, const Crypto &crypto, const Area &area, uint32_t bytes, const uint8_t sha256[32]);
// Makes the sector at `to` like the one at `from`: nothing is written when it is so already, else it is read back.
bool copy_sector(const Flash &flash, uint32_t from, uint32_t to);

}  // namespace tn

#endif
