// Power is cut at every flash operation of all that is written to the record of runs, with every damage model, and again at every
// operation of the start that follows and of what it writes next: a start finds what was before or after the write, all later starts
// find the same, and no fault that stays is lost. With the argument `once`: one cut a run.
#include <stdio.h>

#include "check.h"
#include "core/run_log.h"
#include "memory_flash.h"
#include "sample_block.h"

namespace {

using tn::TankFault;

constexpr uint32_t kSectors = 3, kSeeds = 12;
constexpr int kStarts = 3, kManyStarts = 45;  // weak cells give way within 40 reads
constexpr uint32_t kFlashBytes = kSectors * tn::kSectorBytes;
const tn::Area kArea = {0, kFlashBytes};

// How the sample's two tanks stand: header, sump.
struct Standing {
  TankFault header;
  uint32_t header_run_s;
  TankFault sump;
  uint32_t sump_run_s;
};

MemoryFlash prepared, flash;
tn::RunLog runs;
const tn::NodeBlock block = sample_block();

bool start() { return runs.begin(&flash.flash, kArea, block); }

uint16_t notes_of(uint32_t run_s) { return static_cast<uint16_t>(run_s * 7 % 8192); }

void note(const Standing &as, bool leaving = false) {
  tn::PumpCarry now[tn::kTanksPerNode] = {};
  now[0] = {as.header, as.header_run_s, as.header_run_s / 2, notes_of(as.header_run_s)};
  now[1] = {as.sump, as.sump_run_s, 0, 0};
  runs.note(now, 0, leaving);
}

bool stands(const Standing &as) {
  const tn::PumpCarry header = runs.carried(0), sump = runs.carried(1);
  return header.latched == as.header && header.run_s == as.header_run_s && header.still_s == as.header_run_s / 2 &&
         header.notes == notes_of(as.header_run_s) && sump.latched == as.sump && sump.run_s == as.sump_run_s && sump.still_s == 0;
}

constexpr TankFault kNo = TankFault::kNone, kDry = TankFault::kNoRise, kLong = TankFault::kLongestRun;
constexpr Standing kNothing = {kNo, 0, kNo, 0};

// What it holds, what is written, and what the life after that writes; before that so many entries were written.
struct Story {
  const char *name;
  uint32_t entries;  // a sector has 112
  Standing before, after, next;
};
const Story kStories[] = {
    {"first of all", 0, kNothing, {kDry, 0, kNo, 0}, {kDry, 0, kNo, 60}},
    {"first checkpoint", 1, kNothing, {kNo, 60, kNo, 0}, {kLong, 0, kNo, 0}},
    {"checkpoint", 5, {kNo, 60, kDry, 0}, {kNo, 120, kDry, 0}, {kNo, 180, kDry, 0}},
    {"latches", 9, {kNo, 240, kNo, 0}, {kLong, 0, kNo, 0}, {kLong, 0, kDry, 0}},
    {"ends", 30, {kNo, 240, kLong, 0}, {kNo, 0, kLong, 0}, {kNo, 60, kLong, 0}},
    {"is cleared", 31, {kDry, 0, kNo, 0}, {kNo, 0, kNo, 0}, {kNo, 60, kNo, 0}},
    {"last of a sector", 111, {kDry, 0, kNo, 600}, {kDry, 0, kNo, 660}, {kDry, 0, kNo, 0}},
    {"begins a sector", 112, {kDry, 0, kNo, 600}, {kDry, 0, kNo, 660}, {kDry, 0, kNo, 720}},
    {"begins the first sector again", 3 * 112, {kDry, 0, kNo, 600}, {kDry, 0, kLong, 0}, {kDry, 60, kLong, 0}},
    {"begins one for the ninth time", 24 * 112, {kLong, 0, kLong, 0}, {kLong, 0, kNo, 0}, {kLong, 0, kNo, 60}},
};

void prepare(const Story &story) {
  fresh_flash(&flash, kFlashBytes);
  CHECK(start());
  for (uint32_t i = 1; i < story.entries; ++i) note({i % 2 == 0 ? kNo : kDry, 0, kNo, 60 * i});
  if (story.entries > 0) note(story.before.header_run_s == 0 && story.entries == 1 ? Standing{kDry, 0, kNo, 0} : story.before);
  if (!stands(story.before)) note(story.before);  // an entry that says that nothing is
  CHECK(start() && stands(story.before) && flash.unerased == 0);
  copy_all_but_cells(&prepared, flash);
  memcpy(prepared.cells, flash.cells, kFlashBytes);
}

void rewind(const MemoryFlash &to) {
  copy_all_but_cells(&flash, to);
  memcpy(flash.cells, to.cells, kFlashBytes);
}

// A start and what is written then, cut at its operation `cut` (0: not at all). Operations that it took.
uint32_t live(const Standing &writes, uint32_t cut, int damage, uint32_t seed) {
  power_on(&flash);
  flash.cut_at = cut;
  flash.damage = static_cast<Damage>(damage);
  flash.random = seed;
  if (start() && !flash.dead) note(writes);
  return flash.operations;
}

uint64_t lives = 0;

// The node starts again and again; it finds one of `may`, and the same each time, and goes on. -1: it does not; else which.
int judge(const Standing *may, int count, bool weak, const Standing &next, const char **what) {
  int found = -1;
  for (int i = 0; i < (weak ? kManyStarts : kStarts); ++i) {
    power_on(&flash);
    *what = "begins";
    if (!start()) return -1;
    *what = found < 0 ? "finds what was before or after" : "finds the same again";
    if (found >= 0 && !stands(may[found])) return -1;
    for (int k = 0; found < 0 && k < count; ++k)
      if (stands(may[k])) found = k;
    if (found < 0) return -1;
  }
  *what = "writes nothing at a start";
  if (flash.operations != 0) return -1;
  *what = "goes on";
  note(next);
  power_on(&flash);
  return start() && stands(next) && flash.unerased == 0 ? found : -1;
}

void report(const char *story, const char *what, uint32_t cut, int damage, uint32_t second, int second_damage, uint32_t seed) {
  CHECK(!"a record that");
  printf("  %s: %s:%u+%u:%s+%s:%u\n", what, story, cut, second, kDamageNames[damage],
         second == 0 ? "-" : kDamageNames[second_damage], seed);
}

MemoryFlash after_one;

// The start after the cut, and what it writes, are cut too. What that start went by counts.
void cut_twice(const Story &story, uint32_t cut, int damage, uint32_t seed) {
  for (int second_damage = 0; second_damage < kDamages; ++second_damage) {
    for (uint32_t second = 1;; ++second) {
      rewind(after_one);
      power_on(&flash);
      flash.cut_at = second;
      flash.damage = static_cast<Damage>(second_damage);
      flash.random = seed + second;
      Standing may[3] = {story.before, story.after, story.next};
      int count = 2;
      if (start() && !flash.dead) {
        const bool was_after = stands(story.after);
        may[0] = was_after ? story.after : story.before;
        may[1] = story.next;
        note(story.next);
      }
      if (!flash.dead) break;
      ++lives;
      const bool weak = damage == static_cast<int>(Damage::kWeak) || second_damage == static_cast<int>(Damage::kWeak);
      const char *what = "";
      if (judge(may, count, weak, story.next, &what) < 0) report(story.name, what, cut, damage, second, second_damage, seed);
    }
  }
}

void every_cut(const Story &story, bool and_every_next_cut) {
  prepare(story);
  rewind(prepared);
  const uint32_t operations = live(story.after, 0, 0, 0);
  CHECK(operations >= 2 && operations <= 5 && stands(story.after));
  bool seen[2] = {false, false};
  for (uint32_t cut = 1; cut <= operations; ++cut) {
    for (int damage = 0; damage < kDamages; ++damage) {
      for (uint32_t seed = 1; seed <= kSeeds; ++seed) {
        rewind(prepared);
        live(story.after, cut, damage, seed);
        CHECK(flash.dead);
        copy_all_but_cells(&after_one, flash);
        memcpy(after_one.cells, flash.cells, kFlashBytes);
        const Standing may[2] = {story.before, story.after};
        const char *what = "";
        ++lives;
        const int found = judge(may, 2, damage == static_cast<int>(Damage::kWeak), story.next, &what);
        if (found < 0) report(story.name, what, cut, damage, 0, 0, seed);
        else seen[found] = true;
        if (and_every_next_cut) cut_twice(story, cut, damage, seed);
      }
    }
  }
  CHECK(seen[0] && seen[1]);
}

// A supply that fails a moment after each start, for a week: nothing is written by any of them.
void a_loop_of_brown_outs_writes_nothing() {
  prepare(kStories[3]);
  rewind(prepared);
  for (int i = 0; i < 20000; ++i) {
    power_on(&flash);
    CHECK(start() && stands(kStories[3].before) && flash.operations == 0);
  }
}

// And one that fails within each write: an entry each time, so a sector is erased once in 112 of them at most, but for those that
// are cut while a sector is begun. The fault stays.
void a_loop_of_cuts_within_writes_wears_little_and_forgets_nothing() {
  prepare(kStories[6]);
  rewind(prepared);
  uint32_t erases = 0, random = 1;
  const auto count = [](void *ctx, MemoryFlash *, uint32_t, const uint8_t *, uint32_t n) {
    if (n == tn::kSectorBytes) ++*static_cast<uint32_t *>(ctx);
  };
  flash.before = count;
  flash.before_ctx = &erases;
  constexpr uint32_t kLives = 20000;
  uint32_t was_s = 600, will_s = 600;
  for (uint32_t i = 0; i < kLives; ++i) {
    power_on(&flash);
    flash.damage = static_cast<Damage>(next_random(&random) % kDamages);
    flash.cut_at = 1 + next_random(&random) % 5;
    if (!start() || flash.dead) continue;
    CHECK(runs.carried(0).latched == kDry);
    const uint32_t found_s = runs.carried(1).run_s;
    CHECK(found_s == was_s || found_s == will_s);
    was_s = found_s;
    will_s = found_s >= 7200 ? 0 : found_s + 60;
    note({kDry, 0, kNo, will_s});
  }
  printf("R4: %u lives that were cut while they wrote, %u erases of %u sectors\n", kLives, erases, kSectors);
  CHECK(erases < kLives / 20);
}

}  // namespace

int main(int argc, char **) {
  check_test = "power cuts";
  const bool once = argc > 1;
  for (const Story &story : kStories) every_cut(story, !once);
  RUN(a_loop_of_brown_outs_writes_nothing);
  RUN(a_loop_of_cuts_within_writes_wears_little_and_forgets_nothing);
  printf("R4: %llu lives\n", static_cast<unsigned long long>(lives));
  CHECK(lives >= (once ? 1500 : 50000));
  return check_result();
}
