// The judge of the power-cut proof: power is back, what does the node run? It looks at the cells themselves: an image is whole when
// the area that the node starts holds exactly the bytes of that image, whatever record or digest says.
#ifndef TN_TEST_CUT_JUDGE_H
#define TN_TEST_CUT_JUDGE_H

#include "cut_story.h"

struct Verdict {
  bool bootable;       // every start ran a whole image
  const char *broken;  // the first thing that is not as it must be; null: all is well
};

inline bool older_is_there(const Variant &variant, const MemoryFlash &m, uint8_t area, const tn::SlotFacts &facts) {
  if (facts.older_image == nullptr) return true;
  const uint8_t older = variant.partition.layout == tn::Layout::kCopyInPlace ? 2 : area == 0 ? 1 : 0;
  const TestImage *const images[] = {&zero, &one, &two, &three};
  for (const TestImage *image : images)
    if (memcmp(facts.older_image, image->ticket.sha256, 32) == 0) return holds(m, variant.partition, older, *image);
  return false;
}

inline bool takes_an_update(const Variant &variant, tn::Slots *slots, MemoryFlash *m) {
  if (slots->facts().phase == tn::Phase::kOnTrial && slots->keep() != tn::Code::kOk) return false;
  tn::Code why;
  return send_as(slots, two, 9, &why) == tn::Step::kDone && up(slots, variant, *m) && slots->keep() == tn::Code::kOk &&
         slots->facts().floor == 9 && runs(*slots, two);
}

inline bool read_cells(void *ctx, uint32_t at, void *to, uint32_t n) {
  memcpy(to, static_cast<const MemoryFlash *>(ctx)->cells + at, n);
  return true;
}

// The image on trial has had the one start that the boot loader of the ESP32 family gives it: its note says so (PENDING_VERIFY, which
// that boot loader makes into ABORTED at the next start, whatever was the reason for it: esp-idf 4.4.7, api-reference/system/ota,
// app rollback), or the image itself has recorded a start of its trial.
inline bool had_its_one_start(const Variant &variant, MemoryFlash *m) {
  if (variant.partition.otadata.bytes == 0) return false;
  const tn::Flash cells = {m, m->flash.size_bytes, tn::kSectorBytes, read_cells, nullptr, nullptr};
  tn::OtaData notes;
  tn::SlotRecord record;
  tn::Newest newest;
  tn::read_otadata(cells, variant.partition, &notes);
  for (const tn::OtaEntry &entry : notes.entries)
    if (tn::ota_written(entry) && entry.state == tn::kOtaPendingVerify) return true;
  return tn::read_record(cells, variant.partition, &record, &newest) && record.phase == tn::Phase::kOnTrial && record.trial_starts > 0;
}

// What the node runs and says against what it was told. `started` lies in the past: the node is up.
inline const char *promises(const Variant &variant, const MemoryFlash &m, const tn::Slots &slots, uint8_t area,
                            const Told &told, bool may_lose_trial) {
  const tn::Partition &partition = variant.partition;
  const bool has_one = holds(m, partition, area, one) && runs(slots, one);
  const bool has_two = holds(m, partition, area, two) && runs(slots, two);
  const bool has_three = holds(m, partition, area, three) && runs(slots, three);
  const tn::SlotFacts facts = slots.facts();
  if (!has_one && !has_two && !has_three) return "runs an image that is not whole";
  if (has_two && facts.phase == tn::Phase::kKept && !told.keep_asked) return "kept without being told";
  if (has_three && facts.phase == tn::Phase::kKept) return "kept a third image without being told";
  if (told.kept && !told.back_asked && has_one) return "a kept image was lost";
  if (told.sent && !told.back_asked && !may_lose_trial && has_one) return "a sent image was lost";
  if (told.back && !has_one) return "went back, then forward again";
  if (facts.floor < (told.kept ? two : one).ticket.sequence) return "the floor fell";
  if (!older_is_there(variant, m, area, facts)) return "names an older image that is not there";
  return nullptr;
}

// The starts after a cut. Weak cells may read well during the first ones: the node is started until they have given way.
// `on`: it must then take another update as well. Uses up `m`.
inline Verdict judge(const Variant &variant, MemoryFlash *m, const Told &told, bool on) {
  const bool one_start = variant.partition.otadata.bytes != 0;
  bool may_lose_trial = told.had_start || had_its_one_start(variant, m);
  tn::Slots slots;
  tn::Choice choice = start(&slots, *m, variant.partition);
  for (int more = 0; choice.boot == tn::Boot::kStart && m->weak.n > 0 && more < 3; ++more) {
    if (more == 2) give_way(m);
    if (one_start && told.sent && !told.back_asked && !may_lose_trial && !runs(slots, two) && !runs(slots, three))
      return Verdict{true, "a sent image was lost"};
    may_lose_trial = one_start;  // with the start that it has had now
    if (slots.mark_healthy() != tn::Code::kOk) return Verdict{true, "cannot say that it is healthy"};
    choice = start(&slots, *m, variant.partition);
  }
  if (choice.boot != tn::Boot::kStart) return Verdict{false, "does not start"};
  const char *broken = promises(variant, *m, slots, choice.area, told, may_lose_trial);
  const bool whole = broken == nullptr || strcmp(broken, "runs an image that is not whole") != 0;
  if (broken == nullptr && !choice.recorded) broken = "could not record its start";
  if (broken == nullptr && on && !takes_an_update(variant, &slots, m)) broken = "takes no further update";
  if (broken == nullptr && m->unerased > 0) broken = "programmed what was not erased";
  return Verdict{whole, broken};
}

#endif
