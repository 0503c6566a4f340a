// A copy-in-place node whose boot loader only copies when told: slots_in_place.cpp beside a model of that boot loader. The model
// is written from what the Arduino core's boot loader for the ESP8266 does (bootloaders/eboot/eboot.c, core 3.1.2): it copies
// whole sectors, clears its command after the copy, compares nothing, and its command lies in memory that a reset keeps and a
// power cut does not. What it cannot give, a power cut within its own copy, is counted apart.
#include "check.h"
#include "slots_life.h"

namespace {

using tn::Boot;
using tn::Code;
using tn::InPlace;
using tn::Phase;
using tn::Reason;
using tn::Slots;
using tn::Step;

constexpr const tn::Partition &kMap = kSmallCopyInPlace;
TestImage one, two, three;
MemoryFlash m;

struct Chip {
  bool ordered;  // the command in the memory that power keeps
  InPlace command;
  bool copies;  // false: a boot loader that clears its command and copies nothing
  bool copied;  // it has copied since this was last set to false
} chip;
Slots slots;
int copies_cut, copies_cut_broken;

// False: the power went.
bool boot_loader() {
  if (!chip.ordered) return !m.dead;
  chip.copied = true;
  for (uint32_t done = 0; chip.copies && done < chip.command.bytes; done += tn::kSectorBytes) {
    uint8_t sector[tn::kSectorBytes];
    if (!memory_read(&m, chip.command.from + done, sector, sizeof sector)) return false;
    if (!memory_erase(&m, chip.command.to + done)) return false;
    if (!memory_program(&m, chip.command.to + done, sector, sizeof sector)) return false;
  }
  chip.ordered = false;
  return true;
}

// From reset to the running node, or until the power goes. Returns how the application started; `ran` is false after a cut.
InPlace start(bool *ran) {
  InPlace what = {};
  for (int resets = 0; resets < 20; ++resets) {
    *ran = boot_loader();
    if (!*ran) return what;
    begin(&slots, m, kMap);
    what = slots.start_in_place(tn::Reset::kPowerOn);
    *ran = !m.dead;
    if (!*ran) return what;
    if (!what.copy) {
      begin(&slots, m, kMap);
      slots.open(0);
      return what;
    }
    chip.command = what;
    chip.ordered = true;  // and restart
  }
  CHECK(false);  // it asks for copies for ever
  return what;
}

InPlace start() {
  bool ran = false;
  const InPlace what = start(&ran);
  CHECK(ran);
  return what;
}

void power_back() {
  power_on(&m);
  chip.ordered = false;
}

void fresh_node() {
  fresh_flash(&m);
  chip = Chip{false, {}, true, false};
  CHECK(first_flash(&m, kMap, one) == Code::kOk);
  CHECK(start().choice.boot == Boot::kStart);
}

Step give(const TestImage &image) {
  Code why = Code::kOk;
  return send(&slots, image, &why);
}

bool runs_and_is(const TestImage &image, Phase phase) {
  return runs(slots, image) && holds(m, kMap, 0, image) && slots.facts().phase == phase;
}

void update_trial_keep() {
  fresh_node();
  CHECK(runs_and_is(one, Phase::kKept) && !chip.copied);
  CHECK(give(two) == Step::kDone);
  const InPlace what = start();
  CHECK(what.choice.boot == Boot::kStart && what.choice.recorded && chip.copied);
  CHECK(runs_and_is(two, Phase::kOnTrial));
  CHECK(slots.facts().older_image != nullptr && memcmp(slots.facts().older_image, one.ticket.sha256, 32) == 0);
  CHECK(slots.keep() == Code::kOk && slots.facts().floor == 2);
  chip.copied = false;
  for (int i = 0; i < 12; ++i) CHECK(start().choice.boot == Boot::kStart);
  CHECK(runs_and_is(two, Phase::kKept) && !chip.copied);
}

void told_and_trial_over_go_back() {
  const Reason reasons[] = {Reason::kTold, Reason::kTrialOver};
  for (const Reason why : reasons) {
    fresh_node();
    CHECK(give(two) == Step::kDone);
    start();
    CHECK(slots.put_back(why) == Code::kOk);
    start();
    CHECK(runs_and_is(one, Phase::kPutBack));
    CHECK(slots.facts().last_reason == why && memcmp(slots.facts().last_image, two.ticket.sha256, 32) == 0);
    CHECK(give(three) == Step::kDone);
    start();
    CHECK(runs_and_is(three, Phase::kOnTrial));
  }
}

void three_unhealthy_starts_go_back() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  for (int i = 0; i < tn::kUnhealthyStarts; ++i) {
    start();
    CHECK(runs_and_is(two, Phase::kOnTrial));
  }
  start();
  CHECK(runs_and_is(one, Phase::kPutBack) && slots.facts().last_reason == Reason::kNoHealthyBoot);
}

void a_healthy_start_counts_anew() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  for (int i = 0; i < tn::kTrialStarts; ++i) {
    start();
    CHECK(runs_and_is(two, Phase::kOnTrial));
    CHECK(slots.mark_healthy() == Code::kOk);
  }
  start();
  CHECK(runs_and_is(one, Phase::kPutBack));  // eight starts in all on one trial
}

// The power goes after the order and before the boot loader has seen it: it is given again.
void a_lost_order_is_given_again() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  begin(&slots, m, kMap);
  CHECK(slots.start_in_place(tn::Reset::kPowerOn).copy);
  power_back();
  start();
  CHECK(runs_and_is(two, Phase::kOnTrial));
}

// A reset (no power cut) within the copy: the command is still there, and the copy is done again.
void a_reset_within_the_copy_repeats_it() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  begin(&slots, m, kMap);
  chip.command = slots.start_in_place(tn::Reset::kPowerOn);
  chip.ordered = true;
  power_on(&m);
  m.cut_at = 3;
  CHECK(!boot_loader());
  power_on(&m);
  start();
  CHECK(runs_and_is(two, Phase::kOnTrial));
}

void a_boot_loader_that_does_not_copy_is_not_asked_for_ever() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  chip.copies = false;
  InPlace what = start();
  CHECK(what.choice.boot == Boot::kStart && runs_and_is(one, Phase::kPutBack));
  CHECK(slots.facts().last_reason == Reason::kDamaged);
  chip.copied = false;
  start();
  CHECK(!chip.copied);
  chip.copies = true;
  CHECK(give(two) == Step::kDone);
  start();
  CHECK(runs_and_is(two, Phase::kOnTrial));
  chip.copies = false;  // and back: the node goes on with what runs
  CHECK(slots.put_back(Reason::kTold) == Code::kOk);
  what = start();
  CHECK(what.choice.boot == Boot::kStart && runs(slots, two) && holds(m, kMap, 0, two));
}

void a_damaged_running_image_is_mended() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  start();
  CHECK(slots.keep() == Code::kOk);
  m.cells[kMap.images[0].at + 100] ^= 1;
  start();  // the staging area still has it
  CHECK(runs_and_is(two, Phase::kKept));
  m.cells[kMap.images[0].at + 100] ^= 1;
  m.cells[kMap.images[1].at + 7] ^= 1;
  start();
  CHECK(runs_and_is(one, Phase::kPutBack) && slots.facts().last_reason == Reason::kDamaged);
  m.cells[kMap.images[0].at + 100] ^= 1;
  m.cells[kMap.images[2].at + 100] ^= 1;
  const InPlace what = start();
  CHECK(!what.copy && what.choice.boot == Boot::kNothingWhole);
  CHECK(slots.facts().phase == Phase::kPutBack);  // a record all the same: an update can be taken
}

void without_a_record_nothing_is_ordered() {
  fresh_flash(&m);
  chip = Chip{false, {}, true, false};
  CHECK(start().choice.boot == Boot::kNoRecord);
}

// --- power cuts

void whole_life(bool *alive) {
  bool ran = false;
  Code why = Code::kOk;
  *alive = false;
  start(&ran);
  if (!ran || send(&slots, two, &why) != Step::kDone) return;
  start(&ran);
  if (!ran || slots.put_back(Reason::kTold) != Code::kOk) return;
  start(&ran);
  if (!ran || send(&slots, three, &why) != Step::kDone) return;
  start(&ran);
  if (!ran || slots.keep() != Code::kOk) return;
  *alive = true;
}

bool some_image_runs() {
  return (runs(slots, one) && holds(m, kMap, 0, one)) || (runs(slots, two) && holds(m, kMap, 0, two)) ||
         (runs(slots, three) && holds(m, kMap, 0, three));
}

bool run_area_whole() { return holds(m, kMap, 0, one) || holds(m, kMap, 0, two) || holds(m, kMap, 0, three); }

int cuts_at_every_operation() {
  int cuts = 0;
  for (int damage = 0; damage < kDamages; ++damage) {
    bool alive = false;
    for (uint32_t at = 1; !alive; ++at) {
      fresh_node();
      power_on(&m);
      m.cut_at = at;
      m.damage = static_cast<Damage>(damage);
      m.random = at;
      whole_life(&alive);
      if (alive) break;
      ++cuts;
      const bool within_copy = chip.ordered;
      power_back();
      if (within_copy) {
        ++copies_cut;
        if (!run_area_whole()) {
          ++copies_cut_broken;  // nothing of ours runs any more that could order a copy
          continue;
        }
      }
      const InPlace what = start();
      CHECK(what.choice.boot == Boot::kStart);
      CHECK(some_image_runs());
      CHECK(give(three) == Step::kDone || slots.facts().phase == Phase::kOnTrial);
    }
  }
  return cuts;
}

}  // namespace

int main() {
  make_image(&one, 1);
  make_image(&two, 2);
  make_image(&three, 3);
  RUN(update_trial_keep);
  RUN(told_and_trial_over_go_back);
  RUN(three_unhealthy_starts_go_back);
  RUN(a_healthy_start_counts_anew);
  RUN(a_lost_order_is_given_again);
  RUN(a_reset_within_the_copy_repeats_it);
  RUN(a_boot_loader_that_does_not_copy_is_not_asked_for_ever);
  RUN(a_damaged_running_image_is_mended);
  RUN(without_a_record_nothing_is_ordered);
  check_test = "cuts";
  const int cuts = cuts_at_every_operation();
  printf("power cuts %d within-copy %d of-those-broken %d\n", cuts, copies_cut, copies_cut_broken);
  return check_result();
}
