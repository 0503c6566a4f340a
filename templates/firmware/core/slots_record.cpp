#include "slots_record.h"

#include <string.h>

namespace tn {

namespace {

constexpr uint32_t kMagic = 0x4C534B54u;  // "TKSL" in memory order
constexpr uint16_t kVersion = 1;

bool sensible(const SlotRecord &record, const Partition &partition) {
  if (record.layout != partition.layout || record.active >= (record.layout == Layout::kTwoSlot ? 2 : 1)) return false;
  if (record.phase > Phase::kPutBack || record.pending > Pending::kRestore) return false;
  if (record.last_reason > Reason::kBrownOut || record.pending_reason > Reason::kBrownOut) return false;
  for (int i = 0; i < 3; ++i) {
    const ImageRecord &image = record.images[i];
    if (image.bytes > partition.images[i].bytes || image.ticket_bytes > kTicketBytes) return false;
  }
  return true;
}

TwoSectors sectors_of(const Partition &partition) {
  return TwoSectors{partition.records, kMagic, kVersion, static_cast<uint16_t>(sizeof(SlotRecord))};
}

}  // namespace

bool same_image(const ImageRecord &a, const ImageRecord &b) {
  return a.bytes == b.bytes && memcmp(a.sha256, b.sha256, sizeof a.sha256) == 0;
}

bool read_record(const Flash &flash, const Partition &partition, SlotRecord *to, Newest *newest) {
  return read_newest(flash, sectors_of(partition), to, newest) && sensible(*to, partition);
}

bool read_record_firmly(const Flash &flash, const Partition &partition, SlotRecord *to, Newest *newest) {
  return read_firmly(flash, sectors_of(partition), to, newest) && sensible(*to, partition);
}

bool write_record(const Flash &flash, const Partition &partition, SlotRecord *record, Newest *newest) {
  record->layout = partition.layout;
  return write_next(flash, sectors_of(partition), record, newest);
}

}  // namespace tn
