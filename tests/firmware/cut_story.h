// Stories of updates and fall-backs for the power-cut proof: what a node does with images until its power goes, and what it was
// asked and had answered by then. A story goes on calling a node without power: nothing it then does counts.
#ifndef TN_TEST_CUT_STORY_H
#define TN_TEST_CUT_STORY_H

#include "slots_life.h"

// The node runs `one` when a story begins; before that, when it starts in its second slot, it ran `zero`.
inline TestImage zero, one, two, three;

struct Told {
  bool sent;        // finish_update() said kDone for image two
  bool keep_asked;  // keep() was called
  bool kept;        // and said kOk
  bool back_asked;
  bool back;        // the node was started again after going back
  bool had_start = false;  // the image on trial had the one start that some boot loaders give it, by the time of the first of two cuts
};

inline bool operator==(const Told &a, const Told &b) {
  return a.sent == b.sent && a.keep_asked == b.keep_asked && a.kept == b.kept && a.back_asked == b.back_asked &&
         a.back == b.back;
}

// A kind of node: where its areas are and how it starts.
struct Variant {
  const char *name;
  tn::Partition partition;
  uint32_t flash_bytes;
  bool copies_when_told = false;
};

inline bool up(tn::Slots *slots, const Variant &variant, const MemoryFlash &m, tn::Reset cause = tn::Reset::kPowerOn) {
  return start(slots, m, variant.partition, cause).boot == tn::Boot::kStart && !m.dead;
}

inline bool send_two(tn::Slots *slots, const Variant &variant, MemoryFlash *m, Told *told) {
  tn::Code why;
  if (!up(slots, variant, *m) || send(slots, two, &why) != tn::Step::kDone) return false;
  told->sent = true;
  return up(slots, variant, *m);
}

inline void update_and_keep(const Variant &variant, MemoryFlash *m, Told *told) {
  tn::Slots slots;
  if (!send_two(&slots, variant, m, told) || slots.mark_healthy() != tn::Code::kOk) return;
  told->keep_asked = true;
  told->kept = slots.keep() == tn::Code::kOk;
  if (told->kept) up(&slots, variant, *m);
}

// It never reaches a healthy loop.
inline void update_and_crash(const Variant &variant, MemoryFlash *m, Told *told) {
  tn::Slots slots;
  if (!send_two(&slots, variant, m, told)) return;
  told->back_asked = true;
  for (int i = 0; i < tn::kUnhealthyStarts; ++i)
    if (!up(&slots, variant, *m)) return;
  told->back = runs(slots, one);
}

// Healthy, but told to go back, or never told to keep what it runs: for the slots the same.
inline void update_and_told_back(const Variant &variant, MemoryFlash *m, Told *told) {
  tn::Slots slots;
  if (!send_two(&slots, variant, m, told) || slots.mark_healthy() != tn::Code::kOk) return;
  told->back_asked = true;
  if (slots.put_back(tn::Reason::kTold) == tn::Code::kOk) told->back = up(&slots, variant, *m);
}

// As many brown-outs as a trial bears, then kept: the boot loader of the ESP32 family goes back at each, and is told to try again.
inline void brown_outs_and_keep(const Variant &variant, MemoryFlash *m, Told *told) {
  tn::Slots slots;
  if (!send_two(&slots, variant, m, told)) return;
  for (int i = 0; i < tn::kBrownOutTries; ++i)
    if (!up(&slots, variant, *m, tn::Reset::kBrownOut)) return;
  if (!runs(slots, two) || slots.mark_healthy() != tn::Code::kOk) return;
  told->keep_asked = true;
  told->kept = slots.keep() == tn::Code::kOk;
  if (told->kept) up(&slots, variant, *m, tn::Reset::kBrownOut);
}

// One brown-out too many.
inline void brown_outs_and_back(const Variant &variant, MemoryFlash *m, Told *told) {
  tn::Slots slots;
  if (!send_two(&slots, variant, m, told)) return;
  told->back_asked = true;
  for (int i = 0; i <= tn::kBrownOutTries; ++i)
    if (!up(&slots, variant, *m, tn::Reset::kBrownOut)) return;
  told->back = runs(slots, one);
}

// The older image is given up for a third one, which is left on trial.
inline void update_twice(const Variant &variant, MemoryFlash *m, Told *told) {
  update_and_keep(variant, m, told);
  tn::Slots slots;
  tn::Code why;
  if (told->kept && up(&slots, variant, *m) && send(&slots, three, &why) == tn::Step::kDone) up(&slots, variant, *m);
}

// Kept, and put back all the same: the node gives up what it had kept.
inline void keep_and_put_back(const Variant &variant, MemoryFlash *m, Told *told) {
  update_and_keep(variant, m, told);
  tn::Slots slots;
  if (!told->kept || !up(&slots, variant, *m)) return;
  told->back_asked = true;
  if (slots.put_back(tn::Reason::kTold) == tn::Code::kOk) told->back = up(&slots, variant, *m);
}

struct Story {
  const char *name;
  void (*tell)(const Variant &variant, MemoryFlash *m, Told *told);
  Told whole;  // what was said when nothing was cut
};
constexpr Story kStories[] = {
    {"keep", update_and_keep, {true, true, true, false, false}},
    {"crash", update_and_crash, {true, false, false, true, true}},
    {"told-back", update_and_told_back, {true, false, false, true, true}},
    {"two-updates", update_twice, {true, true, true, false, false}},
    {"undo", keep_and_put_back, {true, true, true, true, true}},
    {"brown-outs", brown_outs_and_keep, {true, true, true, false, false}},
    {"too-many-brown-outs", brown_outs_and_back, {true, false, false, true, true}},
};

constexpr const char *kStarts[] = {"a", "b"};

// A node that runs `one`. Start a: as first flashed. Start b: after an update from `zero` that was kept, so that it runs in the
// second slot (two-slot) or has a filled keep area (copy-in-place); the newest record is then in the other sector as well.
inline bool prepare(const Variant &variant, int start_at, MemoryFlash *m) {
  fresh_flash(m, variant.flash_bytes);
  m->copies_when_told = variant.copies_when_told;
  tn::Slots slots;
  tn::Code why;
  if (start_at == 0) return first_flash(m, variant.partition, one) == tn::Code::kOk && up(&slots, variant, *m);
  return first_flash(m, variant.partition, zero) == tn::Code::kOk && up(&slots, variant, *m) &&
         send(&slots, one, &why) == tn::Step::kDone && up(&slots, variant, *m) && slots.keep() == tn::Code::kOk;
}

#endif
