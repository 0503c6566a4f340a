// Every sequence of six of the eight events of a trial, 8^6 of them for each kind of node, held to trial_model.h after each event.
// Sequences that begin alike share their beginning: the flash is remembered at each event and gone back to.
//   slots_events_test KIND     all of them: two-slot, copy-in-place, esp32 or esp8266
//   slots_events_test TOKEN    one of them, KIND:DIGITS; a failure prints its token
#include <stdio.h>
#include <stdlib.h>

#include "cut_story.h"
#include "fast_digest.h"
#include "trial_model.h"

namespace {

constexpr uint32_t S = tn::kSectorBytes;
const Variant kKinds[] = {
    {"two-slot", kSmallTwoSlot, 7 * S},
    {"copy-in-place", kSmallCopyInPlace, 9 * S},
    {"esp32", kSmallIdf, 9 * S},
    {"esp8266", kSmallCopyInPlace, 9 * S, true},
};

enum Event { kSend, kHealthy, kKeep, kTold, kTrialOver, kCrash, kCut, kBrownOut };
constexpr int kEvents = 8, kLength = 6, kImages = kLength + 1;
constexpr uint64_t kMostReports = 10;

TestImage images[kImages];  // images[i] is image i + 1 of the model
const TestImage &image_of(int number) { return images[number - 1]; }

// A node in the middle of a sequence; all of it can be copied but for the flash.
struct Life {
  tn::Slots slots;
  TrialModel model;
  int area;
  uint32_t boots;
};

const Variant *kind;
MemoryFlash flash, remembered[kLength];
Life life, remembered_life[kLength];
int path[kLength];
uint64_t sequences, cuts, unwatched, failed, ended[3];
uint32_t changed_last;  // where the last flash operation was

void remember(MemoryFlash *to, const MemoryFlash &from) {
  copy_all_but_cells(to, from);
  memcpy(to->cells, from.cells, from.flash.size_bytes);
}

const char *start_node(tn::Reset cause = tn::Reset::kPowerOn) {
  const tn::Choice choice = start(&life.slots, flash, kind->partition, cause);
  if (choice.boot != tn::Boot::kStart) return "does not start";
  life.area = choice.area;
  return choice.recorded ? nullptr : "could not record its start";
}

const char *restart_node() {
  life.model.start();
  ++life.boots;
  return start_node();
}

const char *brown_out_event() {
  life.model.brown_out();
  ++life.boots;
  return start_node(tn::Reset::kBrownOut);
}

bool same_image_number(const uint8_t *sha256, int number) {
  if (sha256 == nullptr || number == kNoImage) return sha256 == nullptr && number == kNoImage;
  return memcmp(sha256, image_of(number).ticket.sha256, 32) == 0;
}

bool counts_starts_as(const TrialModel &model) {
  tn::SlotRecord record;
  tn::Newest newest;
  return tn::read_record(flash.flash, kind->partition, &record, &newest) && record.unhealthy_starts == model.unhealthy &&
         record.trial_starts == model.starts && record.phase == model.phase &&
         (!model.trial() || record.images[record.active].brown_outs == model.of_trial);
}

// Null: the node is as the model says; it runs the very bytes of that image, and so does the older image lie there.
const char *compare() {
  const TrialModel &model = life.model;
  const tn::SlotFacts facts = life.slots.facts();
  const uint8_t older_area = kind->partition.layout == tn::Layout::kCopyInPlace ? tn::kKeep : life.area == 0 ? 1 : 0;
  if (!holds(flash, kind->partition, static_cast<uint8_t>(life.area), image_of(model.running))) return "does not run that image whole";
  if (!runs(life.slots, image_of(model.running))) return "says that it runs another image";
  if (facts.sequence != static_cast<uint64_t>(model.running)) return "says another sequence";
  if (facts.phase != model.phase) return "is in another phase";
  if (facts.floor != static_cast<uint64_t>(model.floor)) return "has another floor";
  if (!same_image_number(facts.older_image, model.older)) return "names another older image, or one where there is none";
  if (model.older != kNoImage && !holds(flash, kind->partition, older_area, image_of(model.older))) return "has not got its older image";
  if (!same_image_number(facts.last_image, model.last)) return "says another image was put back";
  if (facts.last_reason != model.reason) return "gives another reason";
  if (facts.boots != life.boots) return "has miscounted its starts";
  if (facts.brown_outs != model.brown_outs) return "has miscounted its brown-outs";
  if (flash.unerased > 0) return "programmed what was not erased";
  return counts_starts_as(model) ? nullptr : "has counted the starts of the trial otherwise";
}

const char *said(tn::Code code, bool done) {
  return (code == tn::Code::kOk) == done ? nullptr : done ? "refused" : "did what it must refuse";
}

const char *send_event() {
  const TestImage &image = image_of(life.model.next_sent());
  const bool done = life.model.send();
  tn::Code why;
  const bool sent = send(&life.slots, image, &why) == tn::Step::kDone;
  if (!done) return why == tn::Code::kOnTrial ? nullptr : "does not say that it is on trial";
  return sent ? restart_node() : "does not take an image";
}

const char *put_back_event(tn::Reason why) {
  const bool done = life.model.put_back(why);
  const char *const wrong = said(life.slots.put_back(why), done);
  return wrong != nullptr || !done ? wrong : restart_node();
}

uint32_t hash_of_path(int depth) {
  uint32_t hash = 2166136261u;
  for (int i = 0; i <= depth; ++i) hash = (hash ^ static_cast<uint32_t>(path[i] + 1)) * 16777619u;
  return hash ^ hash >> 15;
}

void note_place(void *, MemoryFlash *, uint32_t at, const uint8_t *, uint32_t) { changed_last = at; }

// After a cut start and a whole one: the first may have been counted or not. On the ESP32 family, when power went in the very write
// of the boot loader's note that the image had its start, that note may be lost, and with it that boot loader's watch over the trial;
// then the node's own count of starts ends it, as on the other kinds. When the first of the two came after a brown-out, its count may
// have been written without the start that is counted with it.
void take_what_came(const TrialModel &before, bool brown_out) {
  const tn::Area &notes = kind->partition.otadata;
  const bool in_notes = changed_last >= notes.at && changed_last < notes.at + notes.bytes;
  for (int unwatch = 0; unwatch <= (in_notes && before.trial() ? 1 : 0); ++unwatch) {
    for (int first = 0; first < (brown_out ? 3 : 2); ++first) {
      life.model = before;
      life.model.watched = before.watched && unwatch == 0;
      if (brown_out && first > 0) life.model.brown_out();
      if (!brown_out && first > 0) life.model.start();
      if (first < 2) life.model.start();
      if (compare() != nullptr) continue;
      unwatched += static_cast<uint64_t>(unwatch);
      return;
    }
  }
}

// Power goes at one operation of a start, which one and what it leaves by the path, but not within a copy of a boot loader that
// cannot do it again.
const char *cut_event(int depth) {
  static MemoryFlash before;
  const Life old = life;
  power_on(&flash);
  remember(&before, flash);
  const uint32_t hash = hash_of_path(depth);
  const bool brown_out = (hash >> 16 & 1u) != 0;
  const tn::Reset cause = brown_out ? tn::Reset::kBrownOut : tn::Reset::kPowerOn;
  start_node(cause);
  const uint32_t operations = flash.operations;
  if (operations == 0) return "does not record its start";
  for (uint32_t i = 0; i < operations; ++i) {
    remember(&flash, before);
    life = old;
    flash.damage = static_cast<Damage>(hash % kDamages);
    flash.random = hash;
    flash.cut_at = 1 + (hash / kDamages + i) % operations;
    flash.before = note_place;
    start_node(cause);
    if (!flash.order.copying) break;
  }
  if (!flash.dead) return "cannot be cut";
  ++cuts;
  power_on(&flash);
  flash.before = nullptr;
  const char *const wrong = start_node();
  if (wrong != nullptr) return wrong;
  life.boots = life.slots.facts().boots;
  if (life.boots != old.boots + 1 && life.boots != old.boots + 2) return "has miscounted its starts";
  take_what_came(old.model, brown_out);
  return nullptr;
}

const char *happen(Event event, int depth) {
  switch (event) {
    case kSend: return send_event();
    case kHealthy: life.model.healthy(); return said(life.slots.mark_healthy(), true);
    case kKeep: return said(life.slots.keep(), life.model.keep());
    case kTold: return put_back_event(tn::Reason::kTold);
    case kTrialOver: return life.model.trial() ? put_back_event(tn::Reason::kTrialOver) : nullptr;
    case kCrash: return restart_node();
    case kCut: return cut_event(depth);
    case kBrownOut: return brown_out_event();
  }
  return "no such event";
}

void report(int depth, const char *wrong) {
  printf("FAILED %s:", kind->name);
  for (int i = 0; i <= depth; ++i) printf("%d", path[i]);
  printf(" %s\n", wrong);
  if (++failed >= kMostReports) exit(1);
}

bool step(int depth) {
  const char *wrong = happen(static_cast<Event>(path[depth]), depth);
  if (wrong == nullptr) wrong = compare();
  if (wrong != nullptr) report(depth, wrong);
  return wrong == nullptr;
}

void descend(int depth) {
  if (depth == kLength) {
    ++sequences;
    ++ended[static_cast<int>(life.model.phase)];
    return;
  }
  remember(&remembered[depth], flash);
  remembered_life[depth] = life;
  for (path[depth] = 0; path[depth] < kEvents; ++path[depth]) {
    if (step(depth)) descend(depth + 1);
    remember(&flash, remembered[depth]);
    life = remembered_life[depth];
  }
}

bool begin_life() {
  fresh_flash(&flash, kind->flash_bytes);
  flash.copies_when_told = kind->copies_when_told;
  life.model = TrialModel{};
  life.model.one_start = kind->partition.otadata.bytes != 0;
  life.boots = 1;
  return first_flash(&flash, kind->partition, images[0]) == tn::Code::kOk && start_node() == nullptr && compare() == nullptr;
}

int replay(const char *token, const char *digits) {
  const size_t n = strlen(digits);
  if (n < 1 || n > kLength || strspn(digits, "01234567") != n) return 2;
  for (size_t i = 0; i < n; ++i) {
    path[i] = digits[i] - '0';
    if (!step(static_cast<int>(i))) return 1;
  }
  printf("passed %s\n", token);
  return 0;
}

}  // namespace

int main(int argc, char **argv) {
  if (argc != 2) return 2;
  const size_t name_n = strcspn(argv[1], ":");
  for (const Variant &each : kKinds)
    if (strlen(each.name) == name_n && strncmp(each.name, argv[1], name_n) == 0) kind = &each;
  if (kind == nullptr) return 2;
  test_crypto = fast_digest::crypto();
  image_bytes = 300;
  for (uint8_t i = 0; i < kImages; ++i) make_image(&images[i], static_cast<uint8_t>(i + 1));
  if (!begin_life()) return 3;
  if (argv[1][name_n] == ':') return replay(argv[1], argv[1] + name_n + 1);
  descend(0);
  printf("R1: events-%s sequences=%llu cuts=%llu unwatched=%llu kept=%llu on-trial=%llu put-back=%llu failed=%llu\n", kind->name,
         static_cast<unsigned long long>(sequences), static_cast<unsigned long long>(cuts), static_cast<unsigned long long>(unwatched),
         static_cast<unsigned long long>(ended[0]), static_cast<unsigned long long>(ended[1]),
         static_cast<unsigned long long>(ended[2]), static_cast<unsigned long long>(failed));
  return failed == 0 ? 0 : 1;
}
