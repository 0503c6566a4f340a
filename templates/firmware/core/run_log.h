// The record of runs: what must outlive a restart of the node, for each tank a fault that stays and the run that is under way.
//
// A log in sectors of its own, written in a ring. An entry of 36 bytes says how all tanks stand, so the newest whole one is all that
// is ever read. A sector holds a head and 112 entries and is erased only when its turn comes, so that a record that changes each
// minute wears no sector out in 20 years (docs/power-cuts.md has the figures).
//
// Power may go at any moment. An entry is programmed, read back, then sealed: one more byte of it is programmed. A seal says that the
// program before it had its full time, so that the entry reads the same for ever. A start that finds the newest entry without its seal
// programs it over itself and seals it, before anybody goes by it (why: two_sectors.h); any other start writes nothing, so that a
// supply that fails again and again wears nothing out. A sector that has a head and no entry is begun anew, for a cut may have left its
// head weak.
#ifndef TN_RUN_LOG_H
#define TN_RUN_LOG_H

#include "partition.h"
#include "port.h"
#include "pump.h"

namespace tn {

constexpr uint32_t kRunEntryBytes = 36;
constexpr uint32_t kRunEntries = kSectorBytes / kRunEntryBytes - 1;  // in a sector; the head has the first place
constexpr uint32_t kCheckpointS = 60;  // a power cut forgets no more of a run
constexpr uint32_t kFirstCheckpointS = 1;  // of a tank since the start; each one after it comes kLaterBy times as late as the one before
constexpr uint32_t kLaterBy = 4;
constexpr uint64_t kRunRetryMs = 60000;  // after a write that failed
// A mark that comes or goes is written at once as long as all entries together are no more than one in kEntryMs, and kEntriesAhead:
// 100 an hour in the long run, of which runs that end and checkpoints take 96 at the very most (docs/power-cuts.md).
constexpr int64_t kEntryMs = 36000;
constexpr int64_t kEntriesAhead = 16;  // after a start too: three of each tank's first run, and a mark of each

enum class Noted : uint8_t { kNothing = 0, kWritten, kFailed };

class RunLog {
 public:
  // At each start: reads the newest entry and finds this block's tanks in it, by name; one that is not among the names goes to the
  // tank in its place, if that has none of its own: it was renamed. A fault that stays and whose name is gone stays with every tank
  // whose name is new: tanks come in the order of their names, so that a place says little, and nobody knows which of them it was.
  // False: there is no place for the record. `block` is sound.
  bool begin(const Flash *flash, const Area &area, const NodeBlock &block);

  PumpCarry carried(size_t tank) const;

  // Writes if it is time to: a fault came or went, a run that is written down ended, a run is kCheckpointS longer than it was when
  // last written; with `leaving` (a restart follows), if it is longer at all. In a run that is written down a mark that came towards
  // the goal, or is doubted since, is written too, once a run, as far as the flash bears it (kEntryMs): or a cut soon after it would
  // bring the no-rise time from before it back, and a restart would not know that the tank was filled and drained again. What the
  // flash does not bear waits for the next entry. Of the first run after a start it does not wait for so
  // long, but 1, 4 and 16 s: or a supply that fails again and again, as one does that the pump is too much for, would forget each run
  // whole, and a dry pump would run for ever. After a failure it waits for kRunRetryMs, unless a fault comes or goes or a restart follows.
  // `at_ms`: process time.
  Noted note(const PumpCarry now[kTanksPerNode], uint64_t at_ms, bool leaving);

 private:
  const Flash *flash_;
  Area area_;
  uint32_t number_;                // of the newest sector; 0: none yet
  uint32_t entry_number_;          // of the sector that holds the newest entry, which is not erased; 0: no entry yet
  uint32_t slot_;                  // of it, that is written next
  uint64_t tanks_[kTanksPerNode];  // what the newest entry says, packed, in the block's order
  uint64_t tried_[kTanksPerNode];  // what was last to be written
  uint64_t retry_at_ms_;           // 0: the last write went well
  int64_t borne_until_ms_;         // the entries so far, kEntryMs each, are borne by the time up to here
  uint8_t due_s_[kTanksPerNode];   // a run that is so much longer than it was is due
  uint8_t tank_count_;             // of the block; entries of tanks that it does not have stay behind its own

  uint32_t sectors() const { return area_.bytes / kSectorBytes; }
  uint32_t sector_at(uint32_t number) const { return area_.at + number % sectors() * kSectorBytes; }
  uint32_t entry_at(uint32_t number, uint32_t slot) const { return sector_at(number) + (slot + 1) * kRunEntryBytes; }
  uint32_t newest_before(uint32_t number) const;
  uint32_t used_slots(uint32_t number) const;
  bool read_entry(uint32_t number, uint32_t slot, uint8_t entry[kRunEntryBytes]) const;
  bool seal(uint32_t at, uint8_t entry[kRunEntryBytes]) const;
  bool make_firm(uint32_t number, uint32_t slot, uint8_t entry[kRunEntryBytes]) const;
  bool newest_entry(uint8_t entry[kRunEntryBytes]);
  bool read(uint32_t at, void *to, uint32_t n) const;
  void match(const NodeBlock &block);
  bool is_due(const uint64_t now[kTanksPerNode], uint64_t at_ms, bool leaving) const;
  bool bears_a_mark(uint64_t at_ms) const { return borne_until_ms_ + kEntryMs <= static_cast<int64_t>(at_ms); }
  bool begin_sector();
  bool append(const uint64_t now[kTanksPerNode]);
};

}  // namespace tn

#endif
