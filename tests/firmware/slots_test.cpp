// What a node does with images while power stays on: docs/node-interface.md section 7, both layouts.
#include "check.h"
#include "slots_life.h"

namespace {

using tn::Boot;
using tn::Choice;
using tn::Code;
using tn::Phase;
using tn::Reason;
using tn::Slots;
using tn::Step;

TestImage one, two, three;
MemoryFlash m;
Slots slots;
const tn::Partition *partition;

Choice restart(tn::Reset cause = tn::Reset::kPowerOn) { return start(&slots, m, *partition, cause); }

void fresh_node() {
  fresh_flash(&m);
  CHECK(first_flash(&m, *partition, one) == Code::kOk);
  CHECK(restart().boot == Boot::kStart);
}

Step give(const TestImage &image) {
  Code why = Code::kOk;
  const Step step = send(&slots, image, &why);
  CHECK((step == Step::kDone) == (why == Code::kOk));
  return step;
}

void first_flash_is_kept() {
  fresh_node();
  const tn::SlotFacts facts = slots.facts();
  CHECK(facts.phase == Phase::kKept && runs(slots, one));
  CHECK(facts.floor == 1 && facts.sequence == 1 && facts.boots == 1);
  CHECK(facts.older_image == nullptr && facts.last_image == nullptr);
  const uint8_t *ticket = nullptr;
  CHECK(slots.ticket(&ticket) == sizeof kTicketText && memcmp(ticket, kTicketText, sizeof kTicketText) == 0);
  CHECK(slots.put_back(Reason::kTold) == Code::kNoOlderImage);
  CHECK(slots.keep() == Code::kNotOnTrial);
}

void first_flash_refuses_an_image_that_is_not_there() {
  fresh_flash(&m);
  Slots empty;
  begin(&empty, m, *partition);
  CHECK(empty.first_flash(one.ticket, kTicketText, sizeof kTicketText) == Code::kWrongDigest);
  CHECK(restart().boot == Boot::kNoRecord);
}

void update_goes_on_trial_and_is_kept() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  CHECK(slots.keep() == Code::kNotOnTrial);  // the old image still runs: it must not keep the new one
  CHECK(slots.begin_update(three.ticket, kTicketText, sizeof kTicketText) == Code::kBusy);
  CHECK(restart().boot == Boot::kStart);
  CHECK(runs(slots, two) && slots.facts().phase == Phase::kOnTrial);
  CHECK(slots.facts().floor == 1);  // not yet kept
  CHECK(slots.facts().older_image != nullptr && memcmp(slots.facts().older_image, one.ticket.sha256, 32) == 0);
  CHECK(slots.begin_update(three.ticket, kTicketText, sizeof kTicketText) == Code::kOnTrial);
  CHECK(slots.keep() == Code::kOk);
  CHECK(slots.facts().phase == Phase::kKept && slots.facts().floor == 2);
  for (int i = 0; i < 12; ++i) CHECK(restart().boot == Boot::kStart);
  CHECK(runs(slots, two) && slots.facts().phase == Phase::kKept);  // kept: short power cuts change nothing
  CHECK(slots.facts().boots == 14);
}

void three_unhealthy_starts_fall_back() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  for (int i = 0; i < 3; ++i) {
    restart();
    CHECK(runs(slots, two));
  }
  restart();
  const tn::SlotFacts facts = slots.facts();
  CHECK(runs(slots, one) && facts.phase == Phase::kPutBack);
  CHECK(memcmp(facts.last_image, two.ticket.sha256, 32) == 0 && facts.last_reason == Reason::kNoHealthyBoot);
  CHECK(facts.older_image == nullptr && facts.floor == 1);
  CHECK(give(two) == Step::kDone);  // the floor did not rise: the same ticket may come again
  restart();
  CHECK(runs(slots, two) && slots.keep() == Code::kOk && slots.facts().floor == 2);
}

void a_healthy_start_begins_the_count_again_but_not_forever() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  int starts = 0;
  for (; starts < 20; ++starts) {
    restart();
    if (!runs(slots, two)) break;
    CHECK(slots.mark_healthy() == Code::kOk);
  }
  CHECK(starts == tn::kTrialStarts);
  CHECK(slots.facts().last_reason == Reason::kNoHealthyBoot);
}

// Two crashes and as many brown-outs as there may be: the start that a brown-out ended is not held against the image.
void brown_outs_are_not_unhealthy_starts() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  restart(tn::Reset::kRestart);
  restart(tn::Reset::kCrash);
  for (int i = 0; i < 3; ++i) restart(tn::Reset::kBrownOut);
  CHECK(runs(slots, two) && slots.facts().phase == Phase::kOnTrial && slots.facts().brown_outs == 3);
  restart(tn::Reset::kCrash);
  CHECK(runs(slots, two));
  restart(tn::Reset::kCrash);
  CHECK(runs(slots, one) && slots.facts().last_reason == Reason::kNoHealthyBoot && slots.facts().brown_outs == 3);
}

void a_fourth_brown_out_in_one_trial_goes_back() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  restart(tn::Reset::kRestart);
  for (int i = 0; i < 3; ++i) {
    restart(tn::Reset::kBrownOut);
    CHECK(runs(slots, two) && slots.mark_healthy() == Code::kOk);
  }
  restart(tn::Reset::kBrownOut);
  CHECK(runs(slots, one) && slots.facts().phase == Phase::kPutBack && slots.facts().last_reason == Reason::kBrownOut);
  CHECK(memcmp(slots.facts().last_image, two.ticket.sha256, 32) == 0);
  CHECK(give(two) == Step::kDone);  // the next trial has its own tries
  for (int i = 0; i < 3; ++i) restart(tn::Reset::kBrownOut);
  CHECK(runs(slots, two) && slots.keep() == Code::kOk && slots.facts().brown_outs == 7);
}

// Eight starts of a trial, the last two of them after brown-outs, then one more.
void brown_outs_get_no_more_than_all_starts_of_a_trial() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  for (int i = 0; i < tn::kTrialStarts; ++i) {
    restart(i < tn::kTrialStarts - 2 ? tn::Reset::kCrash : tn::Reset::kBrownOut);
    CHECK(runs(slots, two) && slots.mark_healthy() == Code::kOk);
  }
  restart(tn::Reset::kBrownOut);
  CHECK(runs(slots, one) && slots.facts().last_reason == Reason::kBrownOut);
}

void brown_outs_are_counted_while_kept_and_never_overflow() {
  fresh_node();
  for (int i = 0; i < 5; ++i) restart(tn::Reset::kBrownOut);
  CHECK(slots.facts().phase == Phase::kKept && slots.facts().brown_outs == 5 && slots.facts().boots == 6);
  tn::SlotRecord record;
  tn::Newest newest;
  CHECK(tn::read_record(m.flash, *partition, &record, &newest));
  record.brown_outs = UINT16_MAX - 1;
  CHECK(tn::write_record(m.flash, *partition, &record, &newest));
  for (int i = 0; i < 3; ++i) restart(tn::Reset::kBrownOut);
  CHECK(slots.facts().brown_outs == UINT16_MAX);
}

void told_to_go_back_on_trial_and_when_kept() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  restart();
  CHECK(slots.put_back(Reason::kTrialOver) == Code::kOk);
  CHECK(slots.put_back(Reason::kTold) == Code::kBusy);
  restart();
  CHECK(runs(slots, one) && slots.facts().last_reason == Reason::kTrialOver);
  CHECK(give(three) == Step::kDone);
  restart();
  CHECK(slots.keep() == Code::kOk);
  CHECK(slots.put_back(Reason::kTold) == Code::kOk);
  restart();
  CHECK(runs(slots, one) && slots.facts().phase == Phase::kPutBack && slots.facts().last_reason == Reason::kTold);
  CHECK(memcmp(slots.facts().last_image, three.ticket.sha256, 32) == 0);
  CHECK(slots.facts().floor == 3);  // stays where the kept image had put it
  CHECK(slots.put_back(Reason::kTold) == Code::kNoOlderImage);
}

void wrong_bodies_are_refused() {
  fresh_node();
  Code why = Code::kOk;
  TestImage bad = two;
  bad.bytes[4321] ^= 1;
  CHECK(send(&slots, bad, &why) == Step::kRefused && why == Code::kWrongDigest);
  CHECK(slots.begin_update(two.ticket, kTicketText, sizeof kTicketText) == Code::kOk && slots.updating());
  CHECK(slots.begin_update(two.ticket, kTicketText, sizeof kTicketText) == Code::kBusy);
  CHECK(slots.put_back(Reason::kTold) == Code::kBusy);
  CHECK(slots.write(two.bytes, image_bytes - 1) == Code::kOk);
  CHECK(slots.finish_update(&why) == Step::kRefused && why == Code::kWrongSize);
  CHECK(slots.begin_update(two.ticket, kTicketText, sizeof kTicketText) == Code::kOk);
  CHECK(slots.write(two.bytes, image_bytes) == Code::kOk && slots.write(two.bytes, 1) == Code::kWrongSize);
  CHECK(!slots.updating());
  TestImage large = two;
  large.ticket.size_bytes = slots.room() + 1;
  CHECK(slots.begin_update(large.ticket, kTicketText, sizeof kTicketText) == Code::kTooBig);
  restart();
  CHECK(runs(slots, one) && slots.facts().phase == Phase::kKept);
  CHECK(give(two) == Step::kDone);
}

// 10,000 random bits, each another one; the seed makes the same ones again.
void flipped_bits_of_an_image_are_refused() {
  constexpr int kBits = 10000;
  constexpr unsigned kSeed = 20260401;
  fresh_node();
  TestImage bad = two;
  static uint8_t tried[kMostImageBytes];
  memset(tried, 0, sizeof tried);
  uint32_t random = kSeed;
  int refused = 0;
  for (int flipped = 0; flipped < kBits;) {
    const uint32_t bit = next_random(&random) % (image_bytes * 8);
    const uint8_t mask = static_cast<uint8_t>(1u << bit % 8);
    if ((tried[bit / 8] & mask) != 0) continue;
    tried[bit / 8] = static_cast<uint8_t>(tried[bit / 8] | mask);
    ++flipped;
    Code why = Code::kOk;
    bad.bytes[bit / 8] ^= mask;
    const bool right = send(&slots, bad, &why) == Step::kRefused && why == Code::kWrongDigest;
    bad.bytes[bit / 8] ^= mask;
    if (right) ++refused;
    else printf("bit %u of the image was not refused\n", static_cast<unsigned>(bit));
  }
  CHECK(refused == kBits);
  printf("R5: image random-bits-flipped=%d of=%u seed=%u accepted=%d\n", kBits, static_cast<unsigned>(image_bytes * 8), kSeed,
         kBits - refused);
  CHECK(give(two) == Step::kDone);
}

void images_cut_short_are_refused() {
  fresh_node();
  int refused = 0;
  for (uint32_t n = 0; n < image_bytes; ++n) {
    Code why = Code::kOk;
    if (slots.begin_update(two.ticket, kTicketText, sizeof kTicketText) != Code::kOk) break;
    if (slots.write(two.bytes, n) != Code::kOk) break;
    if (slots.finish_update(&why) == Step::kRefused && why == Code::kWrongSize && !slots.updating()) ++refused;
  }
  CHECK(refused == static_cast<int>(image_bytes));
  printf("R5: image lengths-cut=%u accepted=%d\n", image_bytes, static_cast<int>(image_bytes) - refused);
  restart();
  CHECK(runs(slots, one) && slots.facts().phase == Phase::kKept);
}

void flash_that_fails_says_so() {
  fresh_node();
  Code why = Code::kOk;
  CHECK(slots.begin_update(two.ticket, kTicketText, sizeof kTicketText) == Code::kOk);
  m.fails = true;
  CHECK(slots.write(two.bytes, 4096) == Code::kFlashFailed);
  CHECK(send(&slots, two, &why) == Step::kRefused && why == Code::kFlashFailed);
  const Choice choice = restart();
  CHECK(choice.boot == Boot::kStart && !choice.recorded);
  m.fails = false;
  CHECK(give(two) == Step::kDone);
}

void a_damaged_image_is_not_started() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  Choice choice = restart();
  CHECK(slots.keep() == Code::kOk);
  const uint32_t at = partition->images[choice.area].at + 4400;
  m.cells[at] ^= 4;
  choice = restart();
  CHECK(choice.boot == Boot::kStart);
  if (partition->layout == tn::Layout::kTwoSlot) {
    CHECK(runs(slots, one) && slots.facts().last_reason == Reason::kDamaged);
    m.cells[partition->images[choice.area].at] ^= 4;
    CHECK(restart().boot == Boot::kNothingWhole);
    return;
  }
  CHECK(runs(slots, two) && slots.facts().phase == Phase::kKept);  // mended from the staging area
  for (uint32_t area = 0; area < 2; ++area) m.cells[partition->images[area].at + 4400] ^= 4;
  restart();
  CHECK(runs(slots, one) && slots.facts().last_reason == Reason::kDamaged);
  for (uint32_t area = 0; area < 3; ++area) m.cells[partition->images[area].at] ^= 4;
  CHECK(restart().boot == Boot::kNothingWhole);
}

void nothing_to_go_back_to_keeps_the_trial() {
  fresh_node();
  CHECK(give(two) == Step::kDone);
  const Choice choice = restart();
  const uint8_t older = partition->layout == tn::Layout::kCopyInPlace ? 2 : static_cast<uint8_t>(1 - choice.area);
  m.cells[partition->images[older].at + 17] ^= 1;
  CHECK(slots.put_back(Reason::kTrialOver) == Code::kNoOlderImage);
  for (int i = 0; i < 5; ++i) restart();
  CHECK(runs(slots, two) && slots.facts().phase == Phase::kOnTrial && slots.facts().older_image == nullptr);
  CHECK(slots.keep() == Code::kOk && give(three) == Step::kDone);
}

void records_of_another_layout_are_refused() {
  fresh_node();
  Slots other;
  begin(&other, m, partition->layout == tn::Layout::kTwoSlot ? kSmallCopyInPlace : kSmallTwoSlot);
  CHECK(other.choose(tn::Reset::kPowerOn).boot == Boot::kNoRecord);
  m.cells[partition->records[0].at + 40] ^= 1;
  m.cells[partition->records[1].at + 40] ^= 1;
  CHECK(restart().boot == Boot::kNoRecord);
}

void all(const tn::Partition &layout) {
  partition = &layout;
  RUN(first_flash_is_kept);
  RUN(first_flash_refuses_an_image_that_is_not_there);
  RUN(update_goes_on_trial_and_is_kept);
  RUN(three_unhealthy_starts_fall_back);
  RUN(a_healthy_start_begins_the_count_again_but_not_forever);
  RUN(brown_outs_are_not_unhealthy_starts);
  RUN(a_fourth_brown_out_in_one_trial_goes_back);
  RUN(brown_outs_get_no_more_than_all_starts_of_a_trial);
  RUN(brown_outs_are_counted_while_kept_and_never_overflow);
  RUN(told_to_go_back_on_trial_and_when_kept);
  RUN(wrong_bodies_are_refused);
  RUN(flipped_bits_of_an_image_are_refused);
  RUN(images_cut_short_are_refused);
  RUN(flash_that_fails_says_so);
  RUN(a_damaged_image_is_not_started);
  RUN(nothing_to_go_back_to_keeps_the_trial);
  RUN(records_of_another_layout_are_refused);
}

}  // namespace

int main() {
  make_image(&one, 1);
  make_image(&two, 2);
  make_image(&three, 3);
  all(kSmallTwoSlot);
  all(kSmallCopyInPlace);
  return check_result();
}
