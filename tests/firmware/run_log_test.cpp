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
using tn::TankRun;

constexpr uint32_t kSectors = 16;
const tn::Area kArea = {tn::kSectorBytes, kSectors * tn::kSectorBytes};

MemoryFlash flash;
tn::RunLog runs;
tn::NodeBlock block;
TankRun now[tn::kTanksPerNode];
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
  const tn::PumpCarry carry = runs.carried(tank).carry;
  return carry.latched == fault && carry.run_s == run_s && carry.still_s == still_s;
}

}  // namespace

static void an_erased_flash_says_nothing_and_is_not_written() {
  fresh();
  for (size_t i = 0; i < 4; ++i) CHECK(is(i, TankFault::kNone, 0, 0));
  for (at_ms = 0; at_ms < 1000000; at_ms += 100) CHECK(note() == Noted::kNothing);
  CHECK(flash.operations == 0);
}

static void written_when_it_is_due_and_never_else() {
  fresh();
  now[1].carry.run_s = 59;
  CHECK(note() == Noted::kNothing);
  now[1].carry = {TankFault::kNone, 60, 60};
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing);
  now[1].carry.run_s = 119;
  now[2].carry.run_s = 30;  // another that runs adds nothing
  CHECK(note() == Noted::kNothing);
  now[1].carry.run_s = 120;
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing);
  now[2].carry.run_s = 89;  // it was written down with 30
  CHECK(note() == Noted::kNothing);
  now[2].carry.run_s = 90;
  CHECK(note() == Noted::kWritten);
  now[1].carry = {};  // the goal is reached
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing);
  now[3].carry.run_s = 40;  // a run that was never written down ends unseen
  CHECK(note() == Noted::kNothing);
  now[3].carry.run_s = 0;
  CHECK(note() == Noted::kNothing);
  now[0].carry = {TankFault::kNoRise, 0, 0};
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing);
  now[0].carry = {};
  CHECK(note() == Noted::kWritten && note() == Noted::kNothing);
  now[2].carry.run_s = 91;
  CHECK(note() == Noted::kNothing && note(true) == Noted::kWritten && note(true) == Noted::kNothing);  // before a restart
  CHECK(flash.unerased == 0);
}

static void a_start_finds_what_was_and_writes_nothing() {
  fresh();
  now[0].carry = {TankFault::kNoRise, 0, 0};
  now[1] = {{TankFault::kNone, 12345, 678}, 5};
  now[2].carry = {TankFault::kLongestRun, 7, 0};
  CHECK(note() == Noted::kWritten);
  const uint32_t operations = flash.operations;
  for (int i = 0; i < 1000; ++i) {
    CHECK(start());
    CHECK(is(0, TankFault::kNoRise, 0, 0) && is(1, TankFault::kNone, 12345, 678) && is(2, TankFault::kLongestRun, 7, 0));
    CHECK(is(3, TankFault::kNone, 0, 0) && runs.carried(1).wet_marks == 5);
    CHECK(note() == Noted::kNothing);
  }
  CHECK(flash.operations == operations);
}

// Exact to 16,383 s, then never less and at most a 4,096th more (half of 14 bits, derived from the form in run_log.cpp).
static void times_are_rounded_up() {
  uint32_t before = 0;
  for (uint32_t s = 60; s < 400000000; s += 1 + s / 50) {
    fresh();
    now[0].carry = {TankFault::kNone, s, s - 1};
    CHECK(note() == Noted::kWritten && start());
    const tn::PumpCarry carry = runs.carried(0).carry;
    CHECK(carry.run_s >= s && carry.run_s <= s + s / 4096 && (s >= 16384 || carry.run_s == s));
    CHECK(carry.still_s >= s - 1 && carry.still_s <= carry.run_s && carry.run_s >= before);
    before = carry.run_s;
  }
}

static void a_long_run_is_written_each_minute() {
  fresh();
  int written = 0;
  for (uint32_t s = 0; s < 3 * 86400; ++s) {
    now[0].carry.run_s = now[0].carry.still_s = s;
    if (note() != Noted::kWritten) continue;
    ++written;
    CHECK(runs.carried(0).carry.run_s >= s);
  }
  CHECK(written <= 3 * 86400 / 60 && written >= 3 * 86400 / 76);  // 60 s, and the 16 s that 3 days are rounded up by at most
}

static void tanks_are_found_by_name_then_by_place() {
  fresh();
  now[0].carry.latched = TankFault::kNoRise;      // a
  now[2].carry.latched = TankFault::kLongestRun;  // c
  CHECK(note() == Noted::kWritten);
  strcpy(block.tanks[0].name, "c");  // a and c change places
  strcpy(block.tanks[2].name, "a");
  CHECK(start() && is(0, TankFault::kLongestRun, 0, 0) && is(2, TankFault::kNoRise, 0, 0) && is(1, TankFault::kNone, 0, 0));
  four_tanks();
  strcpy(block.tanks[2].name, "cistern");  // c has a new name: its fault stays
  CHECK(start() && is(0, TankFault::kNoRise, 0, 0) && is(2, TankFault::kLongestRun, 0, 0));
  strcpy(block.tanks[0].name, "b");  // a is gone, b takes its place, and a new one comes
  strcpy(block.tanks[1].name, "new");
  CHECK(start() && is(0, TankFault::kNone, 0, 0) && is(1, TankFault::kNone, 0, 0) && is(2, TankFault::kLongestRun, 0, 0));
}

// The image on trial knows fewer tanks; the older one comes back and finds what it left.
static void what_a_block_does_not_know_is_kept_for_one_that_does() {
  fresh();
  now[1].carry.latched = TankFault::kNoRise;  // b
  now[3].carry.latched = TankFault::kLongestRun;  // d
  CHECK(note() == Noted::kWritten);
  block.tank_count = 1;
  strcpy(block.tanks[0].name, "c");
  CHECK(start() && is(0, TankFault::kNone, 0, 0));
  memset(now, 0, sizeof now);
  CHECK(note() == Noted::kNothing);
  now[0].carry.latched = TankFault::kNoRise;
  CHECK(note() == Noted::kWritten);
  four_tanks();
  CHECK(start() && is(0, TankFault::kNone, 0, 0) && is(1, TankFault::kNoRise, 0, 0));
  CHECK(is(2, TankFault::kNoRise, 0, 0) && is(3, TankFault::kLongestRun, 0, 0));
}

static void a_place_that_is_not_there_is_told() {
  fresh();
  CHECK(!runs.begin(&flash.flash, tn::Area{0, 0}, block));
  CHECK(!runs.begin(&flash.flash, tn::Area{0xFFFFFFFFu, 0}, block));  // as the ESP32 family's map says it
  CHECK(!runs.begin(&flash.flash, tn::Area{kArea.at, kArea.bytes + 2 * tn::kSectorBytes}, block));  // behind the flash's end
  now[0].carry.latched = TankFault::kNoRise;
  CHECK(note() == Noted::kNothing && is(0, TankFault::kNone, 0, 0) && flash.operations == 0);
}

static void garbage_is_no_record() {
  fresh();
  for (uint32_t seed = 1; seed < 50; ++seed) {
    for (uint32_t i = 0; i < kArea.bytes; ++i) flash.cells[kArea.at + i] = static_cast<uint8_t>(next_random(&flash.random));
    CHECK(start() && is(0, TankFault::kNone, 0, 0));
    now[0].carry.latched = TankFault::kNoRise;
    CHECK(note() == Noted::kWritten && start() && is(0, TankFault::kNoRise, 0, 0));
  }
}

static void a_flash_that_fails_is_told_and_tried_again_after_a_minute() {
  fresh();
  now[0].carry.run_s = 60;
  CHECK(note() == Noted::kWritten);
  flash.fails = true;
  now[0].carry = {TankFault::kNoRise, 0, 0};
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
  now[0].carry.latched = TankFault::kNoRise;
  CHECK(note() == Noted::kWritten && start());
  flash.fails = true;
  now[1].carry.latched = TankFault::kNoRise;
  for (int i = 0; i < 40 * static_cast<int>(tn::kRunEntries); ++i, at_ms += 60000) CHECK(note() == Noted::kFailed);
  flash.fails = false;
  CHECK(start() && is(0, TankFault::kNoRise, 0, 0) && is(1, TankFault::kNone, 0, 0));
  CHECK(note() == Noted::kWritten && start() && is(0, TankFault::kNoRise, 0, 0) && is(1, TankFault::kNoRise, 0, 0));
}

static void the_ring_goes_round() {
  fresh();
  uint32_t s = 60;
  for (int i = 0; i < 5 * 16 * static_cast<int>(tn::kRunEntries); ++i, s += 60) {
    now[3].carry = {TankFault::kNone, s, 0};
    if (s > 16000) s = 0;  // ends, begins anew
    CHECK(operations_of_note() <= 4);
    if (i % 97 == 0) CHECK(start() && runs.carried(3).carry.run_s == now[3].carry.run_s);
  }
  for (uint32_t i = 1; i <= kSectors; ++i) CHECK(erases[i] == 5);
  CHECK(erases[0] == 0 && erases[kSectors + 1] == 0 && flash.unerased == 0);
}

// The most that 12 starts an hour of each of four pumps can make of it: an entry for each run that ends, and a checkpoint a minute.
// (4 x 12 + 60) an hour x 8,766 h x 20 years / 127 entries / 16 sectors = 9,318 erases; then by the log itself, with runs that end
// 61 s apart, so that each end comes just after a checkpoint: the worst that the rule allows.
static void twenty_years_wear_no_sector_out(uint32_t days) {
  CHECK((4 * 12 + 60) * 8766ull * 20 / tn::kRunEntries / kSectors == 9318);
  fresh();
  uint32_t begun[4] = {0, 61, 122, 183};
  uint64_t written = 0;
  for (uint32_t s = 0; s < days * 86400; ++s) {
    at_ms = static_cast<uint64_t>(s) * 1000;
    for (uint32_t i = 0; i < 4; ++i) {
      const uint32_t of_run = s < begun[i] ? 0 : s - begun[i];
      now[i].carry.run_s = now[i].carry.still_s = of_run > 240 ? 0 : of_run;  // 240 s on, 60 s off
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
  RUN(written_when_it_is_due_and_never_else);
  RUN(a_start_finds_what_was_and_writes_nothing);
  RUN(times_are_rounded_up);
  RUN(a_long_run_is_written_each_minute);
  RUN(tanks_are_found_by_name_then_by_place);
  RUN(what_a_block_does_not_know_is_kept_for_one_that_does);
  RUN(a_place_that_is_not_there_is_told);
  RUN(garbage_is_no_record);
  RUN(a_flash_that_fails_is_told_and_tried_again_after_a_minute);
  RUN(worn_sectors_are_passed_over);
  RUN(the_ring_goes_round);
  check_test = "twenty_years_wear_no_sector_out";
  twenty_years_wear_no_sector_out(argc > 1 ? 366 : 30);
  return check_result();
}
