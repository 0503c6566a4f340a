#include "run_log.h"

#include <string.h>

#include "crc32.h"

namespace tn {

namespace {

struct SectorHead {
  uint32_t magic;
  uint16_t version;
  uint16_t entry_bytes;
  uint32_t number;  // counts up with each sector that is begun; the remainder by the count of sectors is its place
  uint32_t crc32;   // of all bytes before it
};
static_assert(sizeof(SectorHead) == 16 && sizeof(SectorHead) <= kRunEntryBytes, "the head has an entry's place");

constexpr uint32_t kMagic = 0x4E524B54u;  // "TKRN" in memory order
constexpr uint16_t kVersion = 1;
constexpr int kReads = 3;  // before a place counts as unreadable: what is passed over is forgotten

// An entry: four tanks of 62 bits, the seal, the CRC-32 of the tanks.
constexpr uint32_t kTanksBytes = 31, kSealAt = 31, kSealWordAt = 28, kCrcAt = 32;
constexpr uint8_t kSealed = 0x00, kErased = 0xFF;  // all of its bits, so that one that is wrong makes no seal

// A tank, from the lowest bit: tag of its name (0: no tank), fault, notes of the run, run and still time.
constexpr unsigned kTagBits = 10, kFaultBits = 2, kRunBits = 19, kStillBits = 18, kTankBits = 62;
constexpr unsigned kFaultAt = kTagBits, kNotesAt = kFaultAt + kFaultBits, kRunAt = kNotesAt + kRunNoteBits, kStillAt = kRunAt + kRunBits;
static_assert(kStillAt + kStillBits == kTankBits && kTankBits * kTanksPerNode == kTanksBytes * 8, "an entry is full");
static_assert(kCrcAt + sizeof(uint32_t) == kRunEntryBytes && kSealWordAt % 4 == 0 && kRunEntryBytes % 4 == 0, "words of flash");

uint32_t bits_of(uint64_t from, unsigned at, unsigned n) { return static_cast<uint32_t>(from >> at) & ((1u << n) - 1u); }

// Seconds as mantissa and power of two, rounded up, so that a restart forgets none: the run exact to 9.1 h, the still time to 4.5 h,
// then to within a second in 16,384 and 8,192. Compared as numbers, two of them stand as their times do.
constexpr unsigned kPowerBits = 4;
constexpr uint32_t kMostPower = (1u << kPowerBits) - 1u;

uint32_t pack_time(uint32_t s, unsigned bits) {
  const unsigned mantissa_bits = bits - kPowerBits;
  const uint32_t most = (1u << mantissa_bits) - 1u;
  for (uint32_t power = 0; power <= kMostPower; ++power) {
    const uint32_t mantissa = static_cast<uint32_t>((static_cast<uint64_t>(s) + (1u << power) - 1u) >> power);
    if (mantissa <= most) return power << mantissa_bits | mantissa;
  }
  return kMostPower << mantissa_bits | most;  // 17 years and more
}

uint32_t unpack_time(uint32_t packed, unsigned bits) {
  const unsigned mantissa_bits = bits - kPowerBits;
  return (packed & ((1u << mantissa_bits) - 1u)) << (packed >> mantissa_bits);
}

uint32_t run_of(uint64_t tank) { return bits_of(tank, kRunAt, kRunBits); }
uint32_t marks_of(uint64_t tank) { return bits_of(tank, kNotesAt, kRunMarkBits); }
uint32_t fault_of(uint64_t tank) { return bits_of(tank, kFaultAt, kFaultBits); }
uint32_t tag_of(uint64_t tank) { return bits_of(tank, 0, kTagBits); }
bool same_faults(const uint64_t a[kTanksPerNode], const uint64_t b[kTanksPerNode]) {
  for (size_t i = 0; i < kTanksPerNode; ++i)
    if (fault_of(a[i]) != fault_of(b[i])) return false;
  return true;
}

uint64_t with_fault(uint64_t tank, uint32_t fault) {
  return (tank & ~(static_cast<uint64_t>((1u << kFaultBits) - 1u) << kFaultAt)) | static_cast<uint64_t>(fault) << kFaultAt;
}
uint64_t with_tag(uint64_t tank, uint32_t tag) { return (tank & ~static_cast<uint64_t>((1u << kTagBits) - 1u)) | tag; }

uint32_t tag_of_name(const char *name) {
  const uint32_t tag = crc32(name, strlen(name)) & ((1u << kTagBits) - 1u);
  return tag == 0 ? 1 : tag;
}

static_assert(static_cast<unsigned>(TankFault::kNoRise) < (1u << kFaultBits), "both faults that stay fit");

uint64_t pack(const PumpCarry &carry, uint32_t tag) {
  return static_cast<uint64_t>(pack_time(carry.still_s, kStillBits)) << kStillAt |
         static_cast<uint64_t>(pack_time(carry.run_s, kRunBits)) << kRunAt |
         static_cast<uint64_t>(carry.notes & ((1u << kRunNoteBits) - 1u)) << kNotesAt |
         static_cast<uint64_t>(carry.latched) << kFaultAt | tag;
}

// The bits of the tanks one after the other.
void put_tanks(const uint64_t tanks[kTanksPerNode], uint8_t entry[kRunEntryBytes]) {
  memset(entry, 0, kTanksBytes);
  for (unsigned bit = 0; bit < kTankBits * kTanksPerNode; ++bit) {
    const unsigned is = static_cast<unsigned>(tanks[bit / kTankBits] >> bit % kTankBits) & 1u;
    entry[bit / 8] = static_cast<uint8_t>(entry[bit / 8] | is << bit % 8);
  }
  const uint32_t crc = crc32(entry, kTanksBytes);
  entry[kSealAt] = kErased;
  memcpy(entry + kCrcAt, &crc, sizeof crc);
}

void take_tanks(const uint8_t entry[kRunEntryBytes], uint64_t tanks[kTanksPerNode]) {
  memset(tanks, 0, kTanksPerNode * sizeof tanks[0]);
  for (unsigned bit = 0; bit < kTankBits * kTanksPerNode; ++bit)
    tanks[bit / kTankBits] |= static_cast<uint64_t>(entry[bit / 8] >> bit % 8 & 1u) << bit % kTankBits;
}

bool is_whole(const uint8_t entry[kRunEntryBytes]) {
  uint32_t crc;
  memcpy(&crc, entry + kCrcAt, sizeof crc);
  return crc == crc32(entry, kTanksBytes);
}

bool is_blank(const uint8_t *bytes, size_t n) {
  for (size_t i = 0; i < n; ++i)
    if (bytes[i] != kErased) return false;
  return true;
}

uint32_t sum_of(const SectorHead &head) { return crc32(&head, offsetof(SectorHead, crc32)); }

}  // namespace

bool RunLog::begin(const Flash *flash, const Area &area, const NodeBlock &block) {
  flash_ = flash;
  area_ = area;
  number_ = entry_number_ = 0;
  retry_at_ms_ = 0;
  borne_until_ms_ = -kEntriesAhead * kEntryMs;  // process time begins with the start
  slot_ = kRunEntries;
  tank_count_ = block.tank_count;
  memset(tanks_, 0, sizeof tanks_);
  memset(tried_, 0, sizeof tried_);
  memset(due_s_, kFirstCheckpointS, sizeof due_s_);
  if (area.at > flash->size_bytes || area.bytes > flash->size_bytes - area.at) area_.bytes = 0;
  if (sectors() < 2) return false;
  number_ = newest_before(UINT32_MAX);
  uint8_t entry[kRunEntryBytes];
  if (newest_entry(entry)) take_tanks(entry, tanks_);
  const uint32_t used = number_ == 0 ? 0 : used_slots(number_);
  if (used != 0) slot_ = used;
  else if (number_ != 0) --number_;  // begun anew, in its place
  match(block);
  return true;
}

PumpCarry RunLog::carried(size_t tank) const {
  const uint64_t from = tanks_[tank];
  const uint32_t fault = fault_of(from);
  const bool stays = fault == static_cast<uint32_t>(TankFault::kLongestRun) || fault == static_cast<uint32_t>(TankFault::kNoRise);
  return PumpCarry{stays ? static_cast<TankFault>(fault) : TankFault::kNone, unpack_time(run_of(from), kRunBits),
                   unpack_time(bits_of(from, kStillAt, kStillBits), kStillBits),
                   static_cast<uint16_t>(bits_of(from, kNotesAt, kRunNoteBits))};
}

Noted RunLog::note(const PumpCarry now[kTanksPerNode], uint64_t at_ms, bool leaving) {
  if (sectors() < 2) return Noted::kNothing;
  uint64_t packed[kTanksPerNode];
  for (size_t i = 0; i < kTanksPerNode; ++i) packed[i] = i < tank_count_ ? pack(now[i], tag_of(tanks_[i])) : tanks_[i];
  if (!is_due(packed, at_ms, leaving) || (at_ms < retry_at_ms_ && !leaving && same_faults(packed, tried_))) return Noted::kNothing;
  memcpy(tried_, packed, sizeof tried_);
  for (size_t i = 0; i < kTanksPerNode; ++i) {
    if (run_of(packed[i]) > run_of(tanks_[i]) && due_s_[i] < kCheckpointS)
      due_s_[i] = static_cast<uint8_t>(due_s_[i] * kLaterBy < kCheckpointS ? due_s_[i] * kLaterBy : kCheckpointS);
  }
  const int64_t not_before_ms = static_cast<int64_t>(at_ms) - kEntriesAhead * kEntryMs;
  borne_until_ms_ = (borne_until_ms_ < not_before_ms ? not_before_ms : borne_until_ms_) + kEntryMs;
  const bool written = append(packed);
  retry_at_ms_ = written ? 0 : at_ms + kRunRetryMs;
  return written ? Noted::kWritten : Noted::kFailed;
}

bool RunLog::is_due(const uint64_t now[kTanksPerNode], uint64_t at_ms, bool leaving) const {
  for (size_t i = 0; i < kTanksPerNode; ++i) {
    const uint32_t run = run_of(now[i]), was = run_of(tanks_[i]);
    if (fault_of(now[i]) != fault_of(tanks_[i]) || run < was) return true;  // run < was: it ended
    if (unpack_time(run, kRunBits) - unpack_time(was, kRunBits) >= due_s_[i] || (leaving && run != was)) return true;
    if (was != 0 && (marks_of(now[i]) & ~marks_of(tanks_[i])) != 0 && (leaving || bears_a_mark(at_ms))) return true;
  }
  return false;
}

bool RunLog::read(uint32_t at, void *to, uint32_t n) const {
  for (int i = 0; i < kReads; ++i)
    if (flash_->read(flash_->ctx, at, to, n)) return true;
  return false;
}

// The highest number below that one which a sector has; 0: there is none.
uint32_t RunLog::newest_before(uint32_t number) const {
  uint32_t newest = 0;
  for (uint32_t i = 0; i < sectors(); ++i) {
    SectorHead head;
    if (!read(area_.at + i * kSectorBytes, &head, sizeof head)) continue;
    if (head.magic != kMagic || head.version != kVersion || head.entry_bytes != kRunEntryBytes || head.crc32 != sum_of(head)) continue;
    if (head.number % sectors() == i && head.number < number && head.number > newest) newest = head.number;
  }
  return newest;
}

// Up to and with the last one in which anything is.
uint32_t RunLog::used_slots(uint32_t number) const {
  uint8_t entry[kRunEntryBytes];
  for (uint32_t used = kRunEntries; used > 0; --used) {
    if (!read(entry_at(number, used - 1), entry, sizeof entry) || !is_blank(entry, sizeof entry)) return used;
  }
  return 0;
}

bool RunLog::read_entry(uint32_t number, uint32_t slot, uint8_t entry[kRunEntryBytes]) const {
  return read(entry_at(number, slot), entry, kRunEntryBytes) && is_whole(entry);
}

// Programs the word that the seal is in; its other bytes stay as they are.
bool RunLog::seal(uint32_t at, uint8_t entry[kRunEntryBytes]) const {
  entry[kSealAt] = kSealed;
  return flash_->program(flash_->ctx, at + kSealWordAt, entry + kSealWordAt, kCrcAt - kSealWordAt);
}

// False: it gave way. Where the flash cannot be programmed it counts all the same.
bool RunLog::make_firm(uint32_t number, uint32_t slot, uint8_t entry[kRunEntryBytes]) const {
  if (entry[kSealAt] == kSealed) return true;
  const uint32_t at = entry_at(number, slot);
  if (!flash_->program(flash_->ctx, at, entry, kRunEntryBytes)) return true;
  if (!read_entry(number, slot, entry)) return false;
  seal(at, entry);
  return true;
}

// The newest that is whole; damaged ones are passed over, for they were being written when power went.
bool RunLog::newest_entry(uint8_t entry[kRunEntryBytes]) {
  for (uint32_t number = number_; number != 0; number = newest_before(number)) {
    for (uint32_t slot = used_slots(number); slot > 0; --slot) {
      if (!read_entry(number, slot - 1, entry) || !make_firm(number, slot - 1, entry)) continue;
      entry_number_ = number;
      return true;
    }
  }
  return false;
}

// First those whose name and place are the same, then those with the same name, then by place; a fault whose name is gone goes to
// every tank whose name is new. What finds no tank is kept behind them, as far as there is room: an image that knows the tank may
// come back.
void RunLog::match(const NodeBlock &block) {
  const size_t count = block.tank_count;
  uint64_t found[kTanksPerNode];
  memcpy(found, tanks_, sizeof found);
  memset(tanks_, 0, sizeof tanks_);
  bool is_known[kTanksPerNode] = {};
  uint32_t fault = 0;  // of a tank whose name is gone
  for (int pass = 0; pass < 3; ++pass) {
    for (size_t k = 0; k < kTanksPerNode && pass == 2; ++k) {
      is_known[k] = tanks_[k] != 0;
      if (fault_of(found[k]) > fault) fault = fault_of(found[k]);
    }
    for (size_t i = 0; i < count; ++i) {
      const uint32_t tag = tag_of_name(block.tanks[i].name);
      for (size_t k = 0; k < kTanksPerNode && tanks_[i] == 0; ++k) {
        const bool same_name = tag_of(found[k]) == tag, same_place = k == i;
        if (found[k] == 0 || !(pass == 0 ? same_name && same_place : pass == 1 ? same_name : same_place)) continue;
        tanks_[i] = with_tag(found[k], tag);
        found[k] = 0;
      }
    }
  }
  size_t free = count;
  bool given = false;
  for (size_t i = 0; i < count; ++i) {
    if (tanks_[i] == 0) tanks_[i] = tag_of_name(block.tanks[i].name);
    if (is_known[i] || fault == 0) continue;
    if (fault_of(tanks_[i]) == 0) tanks_[i] = with_fault(tanks_[i], fault);
    given = true;
  }
  for (size_t k = 0; k < kTanksPerNode && free < kTanksPerNode; ++k) {
    if (found[k] != 0 && !(given && fault_of(found[k]) != 0)) tanks_[free++] = found[k];
  }
}

// The sector whose turn it is. Should it not take its head, the one after it is next; never the one with the newest entry.
bool RunLog::begin_sector() {
  if (entry_number_ != 0 && number_ + 1 - entry_number_ >= sectors()) number_ = entry_number_;
  SectorHead head{kMagic, kVersion, static_cast<uint16_t>(kRunEntryBytes), ++number_, 0};
  head.crc32 = sum_of(head);
  SectorHead back;
  const uint32_t at = sector_at(number_);
  if (!flash_->erase(flash_->ctx, at) || !flash_->program(flash_->ctx, at, &head, sizeof head)) return false;
  if (!flash_->read(flash_->ctx, at, &back, sizeof back) || memcmp(&back, &head, sizeof back) != 0) return false;
  slot_ = 0;
  return true;
}

// A place is used up whatever comes of it: what was half programmed cannot be programmed anew.
bool RunLog::append(const uint64_t now[kTanksPerNode]) {
  if (slot_ >= kRunEntries && !begin_sector()) return false;
  uint8_t entry[kRunEntryBytes], back[kRunEntryBytes];
  put_tanks(now, entry);
  const uint32_t at = entry_at(number_, slot_++);
  if (!flash_->program(flash_->ctx, at, entry, sizeof entry) || !flash_->read(flash_->ctx, at, back, sizeof back)) return false;
  if (memcmp(entry, back, sizeof entry) != 0) return false;
  memcpy(tanks_, now, sizeof tanks_);
  entry_number_ = number_;
  return seal(at, entry);
}

}  // namespace tn
