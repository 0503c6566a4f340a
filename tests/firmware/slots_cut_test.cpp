// Power is cut at every erase and program of whole lives of a node, with five ways to damage what was being written, and again
// at every operation of the start that follows. Every time the next start must run a whole image that the node may run, and the
// node must be able to take another update. Both layouts; for copy-in-place that includes the boot loader's own copy.
// `every`: a second cut after every first one, and a further update after each; without it, after some of them.
#include "check.h"
#include "slots_life.h"

namespace {

using tn::Boot;
using tn::Code;
using tn::Phase;
using tn::Reason;
using tn::Slots;
using tn::Step;

TestImage one, two, three;
const tn::Partition *partition;

// What the story had asked for, and had been promised, when the power went.
struct Told {
  bool sent;        // finish_update() said kDone for image two
  bool keep_asked;  // keep() was called
  bool kept;        // and said kOk
  bool back_asked;
  bool back;        // the node was started again after going back
};

typedef void (*Story)(MemoryFlash *m, Told *told);

bool up(Slots *slots, const MemoryFlash &m) { return start(slots, m, *partition).boot == Boot::kStart && !m.dead; }

bool send_two(Slots *slots, MemoryFlash *m, Told *told) {
  Code why;
  if (!up(slots, *m) || send(slots, two, &why) != Step::kDone) return false;
  told->sent = true;
  return up(slots, *m);
}

void update_and_keep(MemoryFlash *m, Told *told) {
  Slots slots;
  if (!send_two(&slots, m, told) || slots.mark_healthy() != Code::kOk) return;
  told->keep_asked = true;
  told->kept = slots.keep() == Code::kOk;
  if (told->kept) up(&slots, *m);
}

void update_and_crash(MemoryFlash *m, Told *told) {
  Slots slots;
  if (!send_two(&slots, m, told)) return;
  told->back_asked = true;
  for (int i = 0; i < tn::kUnhealthyStarts; ++i)
    if (!up(&slots, *m)) return;
  told->back = runs(slots, one);
}

void update_and_told_back(MemoryFlash *m, Told *told) {
  Slots slots;
  if (!send_two(&slots, m, told)) return;
  told->back_asked = true;
  if (slots.put_back(Reason::kTold) == Code::kOk) told->back = up(&slots, *m);
}

// The older image is given up for a third one: from here on `one` is what the node ran before.
void second_update(MemoryFlash *m, Told *told) {
  update_and_keep(m, told);
  Slots slots;
  Code why;
  if (!told->kept || !up(&slots, *m) || send(&slots, three, &why) != Step::kDone) return;
  if (up(&slots, *m)) slots.keep();
}

int broken = 0;
uint32_t second_cut_stride = 8;

void expect(bool good, const char *what, uint32_t cut, uint32_t second_cut, int damage) {
  ++check_done_count;
  if (good) return;
  ++check_failed;
  if (++broken < 20)
    printf("FAILED %s: %s; cut at %u, then at %u, damage %d, layout %d\n", check_test, what, cut, second_cut, damage,
           static_cast<int>(partition->layout));
}

bool node_goes_on(Slots *slots, MemoryFlash *m) {
  if (slots->facts().phase == Phase::kOnTrial && slots->keep() != Code::kOk) return false;
  TestImage next = two;
  next.ticket.sequence = 9;
  Code why;
  return send(slots, next, &why) == Step::kDone && up(slots, *m) && slots->keep() == Code::kOk && slots->facts().floor == 9;
}

bool older_is_there(const MemoryFlash &m, uint8_t area, const tn::SlotFacts &facts) {
  if (facts.older_image == nullptr) return true;
  const uint8_t older = partition->layout == tn::Layout::kCopyInPlace ? 2 : area == 0 ? 1 : 0;
  const TestImage &named = memcmp(facts.older_image, one.ticket.sha256, 32) == 0 ? one : two;
  return memcmp(facts.older_image, named.ticket.sha256, 32) == 0 && holds(m, *partition, older, named);
}

// The first start with power back. `m` is used up.
void judge(MemoryFlash *m, const Told &told, uint32_t cut, uint32_t second_cut, int damage) {
  Slots slots;
  const tn::Choice choice = start(&slots, *m, *partition);
  expect(choice.boot == Boot::kStart && choice.recorded, "does not start", cut, second_cut, damage);
  if (choice.boot != Boot::kStart) return;
  const bool has_one = holds(*m, *partition, choice.area, one) && runs(slots, one);
  const bool has_two = holds(*m, *partition, choice.area, two) && runs(slots, two);
  const bool has_three = holds(*m, *partition, choice.area, three) && runs(slots, three);
  const tn::SlotFacts facts = slots.facts();
  expect(has_one || has_two || has_three, "runs an image that is not whole", cut, second_cut, damage);
  expect(!has_two || facts.phase != Phase::kKept || told.keep_asked, "kept without being told", cut, second_cut, damage);
  expect(!told.kept || !has_one, "a kept image was lost", cut, second_cut, damage);
  expect(!told.sent || told.back_asked || !has_one, "a sent image was lost", cut, second_cut, damage);
  expect(!told.back || has_one, "went back, then forward again", cut, second_cut, damage);
  expect(facts.floor >= (told.kept ? 2u : 1u), "the floor fell", cut, second_cut, damage);
  expect(older_is_there(*m, choice.area, facts), "names an older image that is not there", cut, second_cut, damage);
  const bool goes_on_too = second_cut == 0 && (second_cut_stride == 1 || cut % kDamages == static_cast<uint32_t>(damage));
  if (goes_on_too) expect(node_goes_on(&slots, m), "takes no further update", cut, second_cut, damage);
}

void judge_with_second_cut(const MemoryFlash &after, const Told &told, uint32_t cut, int damage) {
  for (uint32_t second = 1;; ++second) {
    MemoryFlash m;
    copy_flash(&m, after);
    m.cut_at = second;
    Slots slots;
    start(&slots, m, *partition);
    if (!m.dead) return;  // the start had fewer operations
    power_on(&m);
    judge(&m, told, cut, second, damage);
  }
}

// `whole`: what the story must have been told when nothing was cut.
void cut_everywhere(Story story, Told whole) {
  for (int damage = 0; damage < kDamages; ++damage) {
    for (uint32_t cut = 1;; ++cut) {
      MemoryFlash m;
      Told told = {};
      fresh_flash(&m);
      first_flash(&m, *partition, one);
      power_on(&m);
      m.random = cut * 5u + static_cast<uint32_t>(damage);
      m.damage = static_cast<Damage>(damage);
      m.cut_at = cut;
      story(&m, &told);
      const bool was_cut = m.dead;
      power_on(&m);
      if (cut % second_cut_stride == 0) judge_with_second_cut(m, told, cut, damage);
      judge(&m, told, cut, 0, damage);
      if (was_cut) continue;
      expect(memcmp(&told, &whole, sizeof told) == 0, "the story without a cut went otherwise", cut, 0, damage);
      break;
    }
  }
}

void an_update_that_is_kept() { cut_everywhere(update_and_keep, Told{true, true, true, false, false}); }
void an_update_that_crashes() { cut_everywhere(update_and_crash, Told{true, false, false, true, true}); }
void an_update_that_is_told_back() { cut_everywhere(update_and_told_back, Told{true, false, false, true, true}); }
void two_updates() { cut_everywhere(second_update, Told{true, true, true, false, false}); }

}  // namespace

int main(int argc, char **argv) {
  if (argc == 2 && strcmp(argv[1], "every") == 0) second_cut_stride = 1;
  make_image(&one, 1);
  make_image(&two, 2);
  make_image(&three, 3);
  const tn::Partition *const layouts[] = {&kSmallTwoSlot, &kSmallCopyInPlace};
  for (const tn::Partition *layout : layouts) {
    partition = layout;
    RUN(an_update_that_is_kept);
    RUN(an_update_that_crashes);
    RUN(an_update_that_is_told_back);
    RUN(two_updates);
  }
  return check_result();
}
