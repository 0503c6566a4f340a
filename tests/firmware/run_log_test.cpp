// The record of runs without power cuts: what is written when, what a start finds, what the flash bears.
// With an argument: the whole year of the wear run, else a month of it.
#include <stdio.h>

#include "check.h"
#include "core/run_log.h"
#include "memory_flash.h"
#include "sample_block.h"

namespace {

using tn::Noted;
using tn::TankFault;

constexpr uint32_t kSectors = 16;
const tn::Area kArea = {tn::kSectorBytes, kSectors * tn::kSectorBytes};

MemoryFlash flash;
tn::RunLog runs;
tn::NodeBlock block;
tn::PumpCarry now[tn::kTanksPerNode];
uint64_t at_ms;
uint32_t erases[64];  // of each sector, as the flash saw them

void count_erases(void *, MemoryFlash *, uint32_t at, const uint8_t *, uint32_t n) {
  if (n == tn::kSectorBytes) ++erases[at / tn::kSectorBytes];
}

// Four tanks with the names a, b, c, d.
void four_tanks() {
  block = largest_block();
  for (uint8_t i = 0; i < 4; ++i) {
    const char name[2] = {static_cast<char>('a' + i), '\0'};
    strcpy(block.tanks[i].name, name);
  }
  seal(&block);
}

bool start() { return runs.begin(&flash.flash, kArea, block); }

void fresh() {
  four_tanks();
  fresh_flash(&flash, (kSectors + 2) * tn::kSectorBytes);
  memset(erases, 0, sizeof erases);
  flash.before = count_erases;
  memset(now, 0, sizeof now);
  at_ms = 0;
  CHECK(start());
}

Noted note(bool leaving = false) { return runs.note(now, at_ms, leaving); }
uint32_t operations_of_note() {
  const uint32_t before = flash.operations;
  note();
  return flash.operations - before;
}

bool is(size_t tank, TankFault fault, uint32_t run_s, uint32_t still_s) {
  const tn::PumpCarry carry = runs.carried(tank);
  return carry.latched == fault && carry.run_s == run_s && carry.still_s == still_s;
}

}  // namespace

static void an_erased_flash_says_nothing_and_is_not_written() {
  fresh();
  for (size_t i = 0; i < 4; ++i) CHECK(is(i, TankFault::kNone, 0, 0));
  for (at_ms = 0; at_ms < 1000000; at_ms += 100) CHECK(note() == Noted::kNothing);
  CHECK(flash.operations == 0);
}

// A start's first run is written at 1 s, then when it is 4 and 16 s longer, and each minute (run_log.h). A power cut leaves a fifth of
// it at least, then, or it is shorter than a second.
static void the_first_run_after_a_start_is_written_early() {
  fresh();
  const uint32_t written_s[] = {1, 5, 21, 81, 141, 201};
  size_t i = 0;
  for (uint32_t s = 0; s <= 201; ++s) {
    now[2].run_s = now[2].still_s = s;
    const bool is_due = s == written_s[i];
    i += is_due ? 1 : 0;
    CHECK((note() == Noted::kWritten) == is_due);
  }
  CHECK(start() && is(2, TankFault::kNone, 201, 201));
  now[2] = runs.carried(2);
  now[2].run_s += 1;  // anew with each start, for each tank
  CHECK(note() == Noted::kWritten);
  now[2].run_s += 3;
  now[3].run_s = 1;
  CHECK(note() == Noted::kWritten);
  now[2].run_s += 15;
  now[3].run_s = 4;
  CHECK(note() == Noted::kNothing);
  now[3].run_s = 5;
  CHECK(note() == Noted::kWritten);
}

// Each tank has had its first run.
static void fresh_after_first_runs() {
  fresh();
  const uint32_t written_s[] = {1, 5, 21};
  for (const uint32_t run_s : written_s) {
    for (tn::PumpCarry &tank : now) tank.run_s = run_s;
    CHECK(note() == Noted::kWritten);
  }
  memset(now, 0, sizeof now);
  CHECK(note() == Noted::kWritten);
}

static void written_when_it_is_due_and_never_else() {
  fresh_after_first_runs();
  now[1].run_s = 59;
  CHECK(note() == Noted::kNothing);
  now[1] = {TankFault::kNone, 60, 60, 0};
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing);
  now[1].run_s = 119;
  now[2].run_s = 30;  // another that runs adds nothing
  CHECK(note() == Noted::kNothing);
  now[1].run_s = 120;
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing);
  now[2].run_s = 89;  // it was written down with 30
  CHECK(note() == Noted::kNothing);
  now[2].run_s = 90;
  CHECK(note() == Noted::kWritten);
  now[1] = {};  // the goal is reached
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing);
  now[3].run_s = 40;  // a run that was never written down ends unseen
  CHECK(note() == Noted::kNothing);
  now[3].run_s = 0;
  CHECK(note() == Noted::kNothing);
  now[0] = {TankFault::kNoRise, 0, 0, 0};
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing);
  now[0] = {};
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing);
  now[2].run_s = 91;
  CHECK(note() == Noted::kNothing && note(true) == Noted::kWritten && note(true) == Noted::kNothing);  // before a restart
  CHECK(flash.unerased == 0);
}

constexpr uint16_t kFed = 1, kDoubted = 16;  // the lowest mark, in a run's notes (run.cpp)

// In a run that is written down; a mark that is doubted since counts as well, or a dry pump would be given the run anew.
static void a_mark_is_written_at_once_and_once_a_run() {
  fresh_after_first_runs();
  now[0] = {TankFault::kNone, 40, 40, 0};
  CHECK(note() == Noted::kNothing);
  now[0] = {TankFault::kNone, 50, 0, kFed};  // of a run that is not written down
  CHECK(note() == Noted::kNothing);
  now[0] = {TankFault::kNone, 290, 290, 0};
  CHECK(note() == Noted::kWritten);
  now[0] = {TankFault::kNone, 295, 0, kFed};
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing && start() && is(0, TankFault::kNone, 295, 0));
  CHECK(runs.carried(0).notes == kFed);
  now[0] = {TankFault::kNone, 296, 0, kFed | 2};
  CHECK(note() == Noted::kWritten);
  now[0] = {TankFault::kNone, 297, 1, kFed | kDoubted | 2};
  CHECK(note() == Noted::kWritten && start() && runs.carried(0).notes == (kFed | kDoubted | 2));
  now[0] = {TankFault::kNone, 298, 0, kFed | 2 | 1u << 11};  // begun anew, watched anew: no mark
  CHECK(note() == Noted::kWritten);  // the start's first run
  now[0].notes = kFed | 2;
  now[0].still_s = 0;
  CHECK(note() == Noted::kNothing);
}

// 16 entries ahead, then one each 36 s (run_log.h); what is not written at once comes with the next entry.
static void marks_wait_for_what_the_flash_bears() {
  fresh();
  now[0] = {TankFault::kNone, 1, 1, 0};
  CHECK(note() == Noted::kWritten);
  int at_once = 0;
  for (int i = 0; i < 40; ++i) {
    now[0].notes = static_cast<uint16_t>(i % 2 == 0 ? kFed : kFed << 1);  // gained by turns
    if (note() == Noted::kWritten) ++at_once;
  }
  CHECK(at_once == 15);
  now[0].notes = kFed << 2;
  CHECK(note() == Noted::kNothing && note(true) == Noted::kWritten);  // before a restart
  now[0].notes = kFed << 3;
  at_ms += 2 * 36000 - 1;
  CHECK(note() == Noted::kNothing);
  ++at_ms;
  CHECK(note() == Noted::kWritten);
  now[0].notes = kFed;
  CHECK(note() == Noted::kNothing);
  now[0].run_s += 4;
  CHECK(note() == Noted::kWritten && runs.carried(0).notes == kFed);
  at_ms += 86400000;  // and never more than 16
  for (int i = at_once = 0; i < 40; ++i) {
    now[0].notes = static_cast<uint16_t>(i % 2 == 0 ? kFed << 1 : kFed);
    if (note() == Noted::kWritten) ++at_once;
  }
  CHECK(at_once == 16);
}

static void a_start_finds_what_was_and_writes_nothing() {
  fresh();
  now[0] = {TankFault::kNoRise, 0, 0, 0};
  now[1] = {TankFault::kNone, 12345, 678, 8191};
  now[2] = {TankFault::kLongestRun, 7, 0, 0};
  CHECK(note() == Noted::kWritten);
  const uint32_t operations = flash.operations;
  for (int i = 0; i < 1000; ++i) {
    CHECK(start());
    CHECK(is(0, TankFault::kNoRise, 0, 0) && is(1, TankFault::kNone, 12345, 678) && is(2, TankFault::kLongestRun, 7, 0));
    CHECK(is(3, TankFault::kNone, 0, 0) && runs.carried(1).notes == 8191);
    CHECK(note() == Noted::kNothing);
  }
  CHECK(flash.operations == operations);
}

// The run exact to 32,767 s, then at most a 16,384th more; the still time to 16,383 s and an 8,192nd; neither is ever less (15 and 14
// bits of which the highest is set, derived from the form in run_log.cpp).
static void times_are_rounded_up() {
  uint32_t before = 0;
  for (uint32_t s = 60; s < 400000000; s += 1 + s / 50) {
    fresh();
    now[0] = {TankFault::kNone, s, s - 1, 0};
    CHECK(note() == Noted::kWritten && start());
    const tn::PumpCarry carry = runs.carried(0);
    CHECK(carry.run_s >= s && carry.run_s <= s + s / 16384 && (s >= 32768 || carry.run_s == s));
    CHECK(carry.still_s >= s - 1 && carry.still_s <= s - 1 + s / 8192 && carry.run_s >= before);
    before = carry.run_s;
  }
}

static void a_long_run_is_written_each_minute() {
  fresh();
  int written = 0;
  for (uint32_t s = 0; s < 3 * 86400; ++s) {
    now[0].run_s = now[0].still_s = s;
    if (note() != Noted::kWritten) continue;
    ++written;
    CHECK(runs.carried(0).run_s >= s);
  }
  CHECK(written <= 3 * 86400 / 60 && written >= 3 * 86400 / 76);  // 60 s, and the 16 s that 3 days are rounded up by at most
}

static void tanks_are_found_by_name_then_by_place() {
  fresh();
  now[0].latched = TankFault::kNoRise;      // a
  now[2].latched = TankFault::kLongestRun;  // c
  CHECK(note() == Noted::kWritten);
  strcpy(block.tanks[0].name, "c");  // a and c change places
  strcpy(block.tanks[2].name, "a");
  CHECK(start() && is(0, TankFault::kLongestRun, 0, 0) && is(2, TankFault::kNoRise, 0, 0) && is(1, TankFault::kNone, 0, 0));
  four_tanks();
  strcpy(block.tanks[2].name, "cistern");  // c has a new name: its fault stays
  CHECK(start() && is(0, TankFault::kNoRise, 0, 0) && is(2, TankFault::kLongestRun, 0, 0));
}

// The inventory sorts tanks by name: one with a new name may have another place, and push others from theirs.
static void a_fault_whose_name_is_gone_stays_with_every_new_name() {
  fresh();
  now[0].latched = TankFault::kNoRise;  // a
  CHECK(note() == Noted::kWritten);
  const char *const renamed[] = {"b", "c", "d", "upper"};
  for (uint8_t i = 0; i < 4; ++i) strcpy(block.tanks[i].name, renamed[i]);
  CHECK(start() && is(3, TankFault::kNoRise, 0, 0));
  for (size_t i = 0; i < 3; ++i) CHECK(is(i, TankFault::kNone, 0, 0));
  memset(now, 0, sizeof now);
  now[3].latched = TankFault::kNoRise;
  now[1].run_s = 60;  // an entry of this image
  CHECK(note() == Noted::kWritten);
  four_tanks();  // and back
  CHECK(start() && is(0, TankFault::kNoRise, 0, 0) && is(1, TankFault::kNone, 0, 0) && is(3, TankFault::kNone, 0, 0));
  strcpy(block.tanks[1].name, "x");  // which of the two was a?
  strcpy(block.tanks[0].name, "b");
  strcpy(block.tanks[3].name, "y");
  CHECK(start() && is(0, TankFault::kNone, 0, 0) && is(2, TankFault::kNone, 60, 0));
  CHECK(is(1, TankFault::kNoRise, 0, 0) && is(3, TankFault::kNoRise, 0, 0));
}

static bool read_now_and_then(void *ctx, uint32_t at, void *to, uint32_t n) {
  static int reads = 0;
  return ++reads % 3 == 0 && memory_read(ctx, at, to, n);
}

static void reads_that_fail_now_and_then_forget_nothing() {
  fresh();
  now[0].latched = TankFault::kNoRise;
  CHECK(note() == Noted::kWritten);
  flash.flash.read = read_now_and_then;
  CHECK(start() && is(0, TankFault::kNoRise, 0, 0));
}

// The image on trial knows fewer tanks; the older one comes back and finds what it left.
static void what_a_block_does_not_know_is_kept_for_one_that_does() {
  fresh();
  now[1].latched = TankFault::kNoRise;  // b
  now[3].latched = TankFault::kLongestRun;  // d
  CHECK(note() == Noted::kWritten);
  block.tank_count = 1;
  strcpy(block.tanks[0].name, "c");
  CHECK(start() && is(0, TankFault::kNone, 0, 0));
  memset(now, 0, sizeof now);
  CHECK(note() == Noted::kNothing);
  now[0].latched = TankFault::kNoRise;
  CHECK(note() == Noted::kWritten);
  four_tanks();
  CHECK(start() && is(0, TankFault::kNone, 0, 0) && is(1, TankFault::kNoRise, 0, 0));
  CHECK(is(2, TankFault::kNoRise, 0, 0) && is(3, TankFault::kLongestRun, 0, 0));
}

// A minute is waited after a write that failed, but not with a fault that comes or is cleared, nor where a restart follows.
static void what_must_not_be_lost_does_not_wait_for_a_write_that_failed() {
  fresh();
  now[1].run_s = now[1].still_s = 60;
  flash.fails = true;
  CHECK(note() == Noted::kFailed && note() == Noted::kNothing);
  flash.fails = false;
  CHECK(note() == Noted::kNothing);
  at_ms += 1000;
  now[0].latched = TankFault::kNoRise;
  CHECK(note() == Noted::kWritten && start() && is(0, TankFault::kNoRise, 0, 0) && is(1, TankFault::kNone, 60, 60));
  now[1].run_s = now[1].still_s = 120;
  flash.fails = true;
  CHECK(note() == Noted::kFailed);
  now[0].latched = TankFault::kNone;
  CHECK(note() == Noted::kFailed && note() == Noted::kNothing);  // once, not at each turn
  now[1].run_s = now[1].still_s = 130;
  flash.fails = false;
  CHECK(note() == Noted::kNothing && note(true) == Noted::kWritten);
  CHECK(start() && is(0, TankFault::kNone, 0, 0) && is(1, TankFault::kNone, 130, 130));
}

static void a_place_that_is_not_there_is_told() {
  fresh();
  CHECK(!runs.begin(&flash.flash, tn::Area{0, 0}, block));
  CHECK(!runs.begin(&flash.flash, tn::Area{0xFFFFFFFFu, 0}, block));  // as the ESP32 family's map says it
  CHECK(!runs.begin(&flash.flash, tn::Area{kArea.at, kArea.bytes + 2 * tn::kSectorBytes}, block));  // behind the flash's end
  now[0].latched = TankFault::kNoRise;
  CHECK(note() == Noted::kNothing && is(0, TankFault::kNone, 0, 0) && flash.operations == 0);
}

static void garbage_is_no_record() {
  fresh();
  for (uint32_t seed = 1; seed < 50; ++seed) {
    for (uint32_t i = 0; i < kArea.bytes; ++i) flash.cells[kArea.at + i] = static_cast<uint8_t>(next_random(&flash.random));
    CHECK(start() && is(0, TankFault::kNone, 0, 0));
    now[0].latched = TankFault::kNoRise;
    CHECK(note() == Noted::kWritten && start() && is(0, TankFault::kNoRise, 0, 0));
  }
}

static void a_flash_that_fails_is_told_and_tried_again_after_a_minute() {
  fresh();
  now[0].run_s = 60;
  CHECK(note() == Noted::kWritten);
  flash.fails = true;
  now[0] = {TankFault::kNoRise, 0, 0, 0};
  CHECK(note() == Noted::kFailed);
  for (at_ms = 100; at_ms < 60000; at_ms += 100) CHECK(note() == Noted::kNothing);
  CHECK(note() == Noted::kFailed);
  flash.fails = false;
  at_ms += 60000;
  CHECK(note() == Noted::kWritten && start() && is(0, TankFault::kNoRise, 0, 0));
}

// Sectors that no longer take anything are passed over, and the one that holds the newest entry is not erased for them.
static void worn_sectors_are_passed_over() {
  fresh();
  now[0].latched = TankFault::kNoRise;
  CHECK(note() == Noted::kWritten && start());
  flash.fails = true;
  now[1].latched = TankFault::kNoRise;
  for (int i = 0; i < 40 * static_cast<int>(tn::kRunEntries); ++i, at_ms += 60000) CHECK(note() == Noted::kFailed);
  flash.fails = false;
  CHECK(start() && is(0, TankFault::kNoRise, 0, 0) && is(1, TankFault::kNone, 0, 0));
  CHECK(note() == Noted::kWritten && start() && is(0, TankFault::kNoRise, 0, 0) && is(1, TankFault::kNoRise, 0, 0));
}

static void the_ring_goes_round() {
  fresh();
  uint32_t s = 60;
  for (int i = 0; i < 5 * 16 * static_cast<int>(tn::kRunEntries); ++i, s += 60) {
    now[3] = {TankFault::kNone, s, 0, 0};
    if (s > 16000) s = 0;  // ends, begins anew
    CHECK(operations_of_note() <= 5);
    if (i % 97 == 0) CHECK(start() && runs.carried(3).run_s == now[3].run_s);
  }
  for (uint32_t i = 1; i <= kSectors; ++i) CHECK(erases[i] == 5);
  CHECK(erases[0] == 0 && erases[kSectors + 1] == 0 && flash.unerased == 0);
}

// 12 starts an hour of each of four pumps, runs and pauses of 300 s together. An entry for each run that ends, and between two of them
// a checkpoint at the most for each 60 s that are begun, but the last: of four ends in 300 s, g seconds apart, that is
// 4 + sum(ceil(g/60) - 1) < 300/60 + 4, so 8 in 300 s. 96 an hour x 8,766 h x 20 years / 112 entries / 16 sectors = 9,392 erases.
// A mark's entry makes no gap longer, so that is so with marks as well; and one is written only while all entries are no more than
// 100 an hour and 16. A sector is erased once in 112 x 16 entries, and once more at the end of what is looked at: in a year
// (100 x 8,766 + 16) / 1,792 + 1 = 490 erases at most, in 20 years 9,784.
// Then by the log itself, with ends 61 s apart, each just after a checkpoint, and three marks and three doubts in each run.
static void twenty_years_wear_no_sector_out(uint32_t days) {
  CHECK(tn::kRunEntries == 112 && 96 * 8766ull * 20 / 112 / 16 == 9392);
  CHECK(tn::kEntryMs == 36000 && tn::kEntriesAhead == 16 && kSectors == 16);
  CHECK((100 * 8766ull + 16) / 112 / 16 + 1 == 490 && (100 * 8766ull * 20 + 16) / 112 / 16 + 1 == 9784);
  fresh();
  uint32_t begun[4] = {0, 61, 122, 183};
  uint64_t written = 0;
  for (uint32_t s = 0; s < days * 86400; ++s) {
    at_ms = static_cast<uint64_t>(s) * 1000;
    for (uint32_t i = 0; i < 4; ++i) {
      const uint32_t of_run = s < begun[i] ? 0 : s - begun[i];
      now[i].run_s = now[i].still_s = of_run > 240 ? 0 : of_run;  // 240 s on, 60 s off
      const uint32_t moved = of_run > 240 ? 0 : of_run / 35;      // comes, is doubted, comes, ...
      now[i].notes = static_cast<uint16_t>(((1u << (moved + 1) / 2) - 1u) | ((1u << moved / 2) - 1u) << 4);
      if (of_run == 300) begun[i] = s;
    }
    if (note() == Noted::kWritten) ++written;
  }
  uint32_t most = 0;
  for (uint32_t i = 1; i <= kSectors; ++i) most = erases[i] > most ? erases[i] : most;
  const double years = days / 365.25, in_twenty = static_cast<double>(written) / years * 20 / tn::kRunEntries / kSectors;
  printf("R4: %u days, %.1f entries an hour, at most %u erases of a sector; in 20 years %.0f\n", days,
         static_cast<double>(written) / (days * 24.0), most, in_twenty);
  CHECK(written >= days * 24ull * 95 && in_twenty <= 10000);
  CHECK(most <= written / tn::kRunEntries / kSectors + 1);
}

int main(int argc, char **) {
  RUN(an_erased_flash_says_nothing_and_is_not_written);
  RUN(the_first_run_after_a_start_is_written_early);
  RUN(written_when_it_is_due_and_never_else);
  RUN(a_mark_is_written_at_once_and_once_a_run);
  RUN(marks_wait_for_what_the_flash_bears);
  RUN(a_start_finds_what_was_and_writes_nothing);
  RUN(times_are_rounded_up);
  RUN(a_long_run_is_written_each_minute);
  RUN(tanks_are_found_by_name_then_by_place);
  RUN(a_fault_whose_name_is_gone_stays_with_every_new_name);
  RUN(reads_that_fail_now_and_then_forget_nothing);
  RUN(what_a_block_does_not_know_is_kept_for_one_that_does);
  RUN(what_must_not_be_lost_does_not_wait_for_a_write_that_failed);
  RUN(a_place_that_is_not_there_is_told);
  RUN(garbage_is_no_record);
  RUN(a_flash_that_fails_is_told_and_tried_again_after_a_minute);
  RUN(worn_sectors_are_passed_over);
  RUN(the_ring_goes_round);
  check_test = "twenty_years_wear_no_sector_out";
  twenty_years_wear_no_sector_out(argc > 1 ? 366 : 30);
  return check_result();
}
