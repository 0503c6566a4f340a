// One record kept in two sectors: each new one is written to the sector that does not hold the newest, with the next number, so
// that power may go at any moment. A record begins with a RecordHead and ends with the CRC-32 of all bytes before that.
//
// A cut can leave the cells of the newest record programmed so weakly that they read well now and badly later. If the other sector
// were then erased and power went again, no record would be left. So once per start, before the other sector is erased for the
// first time, the newest record is programmed over itself: NOR flash only clears bits, the same bytes firm the cells that are to be
// clear. Only where the other sector holds a record, though: else there is nothing that its erasing could take away.
// Who does anything else on a record's word that another record would not put right reads it with read_firmly().
#ifndef TN_TWO_SECTORS_H
#define TN_TWO_SECTORS_H

#include "partition.h"
#include "port.h"

namespace tn {

struct RecordHead {
  uint32_t magic;
  uint16_t version;
  uint16_t length;  // of the whole record, bytes; a multiple of 4
  uint64_t number;  // the higher of the two counts; 0: no record
};
static_assert(sizeof(RecordHead) == 16, "record head layout");

// Which record, and where. `length` is at most kSectorBytes.
struct TwoSectors {
  const Area *sectors;  // two of them
  uint32_t magic;
  uint16_t version;
  uint16_t length;
};

// The sector that holds the newest record, and whether that record is known to be firm since this start.
struct Newest {
  uint8_t sector;
  bool firm;
};
constexpr Newest kNoneYet = {1, false};  // the first record goes to sector 0

// The newest valid record, `where.length` bytes. False: there is none.
bool read_newest(const Flash &flash, const TwoSectors &where, void *to, Newest *newest);
// The same, and firmed at once, so that what was read is what the next start reads too. True as well where the flash could not be
// programmed: then it is not firm.
bool read_firmly(const Flash &flash, const TwoSectors &where, void *to, Newest *newest);
// Fills in head and CRC of `record`, with the number after the one in it, writes it to the other sector and reads it back. On
// failure the sectors still hold the former record, or the new one whole; `record` is then to be read again.
bool write_next(const Flash &flash, const TwoSectors &where, void *record, Newest *newest);

}  // namespace tn

#endif
