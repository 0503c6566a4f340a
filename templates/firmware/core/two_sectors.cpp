#include "two_sectors.h"

#include <string.h>

#include "crc32.h"

namespace tn {

namespace {

constexpr uint32_t kPartBytes = 128;  // at a time: a boot loader has little stack
constexpr uint32_t kCrcBytes = sizeof(uint32_t);
static_assert(kPartBytes >= sizeof(RecordHead) && kPartBytes % kCrcBytes == 0, "no part splits a head or a checksum");

uint32_t part_at(const TwoSectors &where, uint32_t done) {
  const uint32_t rest = static_cast<uint32_t>(where.length) - done;
  return rest < kPartBytes ? rest : kPartBytes;
}

// The number of the record in that sector, 0 when there is none or it is damaged.
uint64_t number_in(const Flash &flash, const TwoSectors &where, uint8_t sector) {
  alignas(8) uint8_t part[kPartBytes];
  RecordHead head = {};
  uint32_t crc = 0;
  for (uint32_t done = 0; done < where.length;) {
    const uint32_t n = part_at(where, done);
    if (!flash.read(flash.ctx, where.sectors[sector].at + done, part, n)) return 0;
    if (done == 0) {
      memcpy(&head, part, sizeof head);
      if (head.magic != where.magic || head.version != where.version || head.length != where.length) return 0;
    }
    done += n;
    const bool last = done == where.length;
    crc = crc32_more(crc, part, last ? n - kCrcBytes : n);
    if (!last) continue;
    uint32_t stored;
    memcpy(&stored, part + n - kCrcBytes, sizeof stored);
    if (stored != crc) return 0;
  }
  return head.number == UINT64_MAX ? 0 : head.number;  // the last number could have no successor
}

// Programs the record in that sector over itself.
bool program_again(const Flash &flash, const TwoSectors &where, uint8_t sector) {
  alignas(8) uint8_t part[kPartBytes];
  for (uint32_t done = 0; done < where.length;) {
    const uint32_t at = where.sectors[sector].at + done, n = part_at(where, done);
    if (!flash.read(flash.ctx, at, part, n) || !flash.program(flash.ctx, at, part, n)) return false;
    done += n;
  }
  return true;
}

uint8_t other_than(const Newest &newest) { return newest.sector == 0 ? 1 : 0; }

enum class Firm : uint8_t { kIs, kGaveWay, kNotProgrammed };

Firm make_firm(const Flash &flash, const TwoSectors &where, uint64_t number, const Newest &newest) {
  if (newest.firm || number == 0 || number_in(flash, where, other_than(newest)) == 0) return Firm::kIs;
  if (!program_again(flash, where, newest.sector)) return Firm::kNotProgrammed;
  return number_in(flash, where, newest.sector) == number ? Firm::kIs : Firm::kGaveWay;
}

}  // namespace

// What was checked and what is then read are compared too: cells that a power cut left weak can read well once.
bool read_newest(const Flash &flash, const TwoSectors &where, void *to, Newest *newest) {
  const uint32_t summed = where.length - kCrcBytes;
  for (int tries = 0; tries < 2; ++tries) {
    const uint64_t first = number_in(flash, where, 0), second = number_in(flash, where, 1);
    if (first == 0 && second == 0) return false;
    *newest = Newest{static_cast<uint8_t>(second > first ? 1 : 0), false};
    if (!flash.read(flash.ctx, where.sectors[newest->sector].at, to, where.length)) return false;
    uint32_t stored;
    memcpy(&stored, static_cast<const uint8_t *>(to) + summed, sizeof stored);
    if (stored == crc32(to, summed)) return true;
  }
  return false;
}

bool read_firmly(const Flash &flash, const TwoSectors &where, void *to, Newest *newest) {
  for (int tries = 0; tries < 2; ++tries) {  // the second time the other sector's record, if this one gave way
    if (!read_newest(flash, where, to, newest)) return false;
    RecordHead head;
    memcpy(&head, to, sizeof head);
    const Firm firm = make_firm(flash, where, head.number, *newest);
    newest->firm = firm == Firm::kIs;
    if (firm != Firm::kGaveWay) return true;
  }
  return false;
}

bool write_next(const Flash &flash, const TwoSectors &where, void *record, Newest *newest) {
  RecordHead head;
  memcpy(&head, record, sizeof head);
  const Firm firm = make_firm(flash, where, head.number, *newest);
  if (firm == Firm::kNotProgrammed) return false;
  const uint8_t to = firm == Firm::kIs ? other_than(*newest) : newest->sector;  // gave way: the other sector's counts again
  head = RecordHead{where.magic, where.version, where.length, head.number + 1};
  memcpy(record, &head, sizeof head);
  const uint32_t summed = where.length - kCrcBytes, crc = crc32(record, summed), at = where.sectors[to].at;
  memcpy(static_cast<uint8_t *>(record) + summed, &crc, sizeof crc);
  if (!flash.erase(flash.ctx, at) || !flash.program(flash.ctx, at, record, where.length)) return false;
  if (number_in(flash, where, to) != head.number) return false;
  *newest = Newest{to, true};
  return true;
}

}  // namespace tn
