#include "slots_record.h"

#include <string.h>

#include "crc32.h"

namespace tn {

namespace {

constexpr uint32_t kMagic = 0x4C534B54u;  // "TKSL" in memory order
constexpr uint16_t kVersion = 1;

bool sensible(const SlotRecord &record, const Partition &partition) {
  if (record.layout != partition.layout || record.active >= (record.layout == Layout::kTwoSlot ? 2 : 1)) return false;
  if (record.phase > Phase::kPutBack || record.pending > Pending::kRestore) return false;
  if (record.last_reason > Reason::kDamaged || record.pending_reason > Reason::kDamaged) return false;
  for (int i = 0; i < 3; ++i) {
    const ImageRecord &image = record.images[i];
    if (image.bytes > partition.images[i].bytes || image.ticket_bytes > kTicketBytes) return false;
  }
  return true;
}

// The number of the record in that sector, 0 when there is none or it is damaged. Reads in small parts: a boot loader has
// little stack.
uint64_t number_in(const Flash &flash, uint32_t at) {
  uint8_t part[176];
  static_assert(sizeof(SlotRecord) % sizeof part == 0, "whole parts");
  uint32_t crc = 0;
  uint64_t number = 0;
  for (uint32_t done = 0; done < sizeof(SlotRecord); done += static_cast<uint32_t>(sizeof part)) {
    if (!flash.read(flash.ctx, at + done, part, sizeof part)) return 0;
    if (done == 0) {
      uint32_t magic;
      uint16_t version, length;
      memcpy(&magic, part + offsetof(SlotRecord, magic), sizeof magic);
      memcpy(&version, part + offsetof(SlotRecord, version), sizeof version);
      memcpy(&length, part + offsetof(SlotRecord, length), sizeof length);
      memcpy(&number, part + offsetof(SlotRecord, number), sizeof number);
      if (magic != kMagic || version != kVersion || length != sizeof(SlotRecord)) return 0;
    }
    const bool last = done + sizeof part == sizeof(SlotRecord);
    crc = crc32_more(crc, part, last ? sizeof part - sizeof crc : sizeof part);
    if (!last) continue;
    uint32_t stored;
    memcpy(&stored, part + sizeof part - sizeof stored, sizeof stored);
    if (stored != crc) return 0;
  }
  return number == UINT64_MAX ? 0 : number;  // the last number could have no successor
}

}  // namespace

bool same_image(const ImageRecord &a, const ImageRecord &b) {
  return a.bytes == b.bytes && memcmp(a.sha256, b.sha256, sizeof a.sha256) == 0;
}

// What was checked and what is then read are compared too: cells that a power cut left weak can read well once.
bool read_record(const Flash &flash, const Partition &partition, SlotRecord *to, uint8_t *sector) {
  for (int tries = 0; tries < 2; ++tries) {
    const uint64_t first = number_in(flash, partition.records[0].at);
    const uint64_t second = number_in(flash, partition.records[1].at);
    if (first == 0 && second == 0) return false;
    *sector = second > first ? 1 : 0;
    if (!flash.read(flash.ctx, partition.records[*sector].at, to, sizeof *to)) return false;
    if (to->crc32 == crc32(to, offsetof(SlotRecord, crc32))) return sensible(*to, partition);
  }
  return false;
}

bool write_record(const Flash &flash, const Partition &partition, SlotRecord *record, uint8_t *sector) {
  const uint8_t other = *sector == 0 ? 1 : 0;
  const uint32_t at = partition.records[other].at;
  record->magic = kMagic;
  record->version = kVersion;
  record->length = sizeof *record;
  record->layout = partition.layout;
  record->number += 1;
  record->crc32 = crc32(record, offsetof(SlotRecord, crc32));
  if (!flash.erase(flash.ctx, at) || !flash.program(flash.ctx, at, record, sizeof *record)) return false;
  if (number_in(flash, at) != record->number) return false;
  *sector = other;
  return true;
}

}  // namespace tn
