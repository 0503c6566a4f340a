// The power-cut proof (docs/power-cuts.md): power is cut at every flash operation of stories of an update and of a fall-back, on
// every kind of node, from both starting slots, with every damage model. Each run ends with the starts that follow.
//   slots_cut_test single SEED     every cut, images long enough for 1,000 operations
//   slots_cut_test double SEED     every cut and then every cut of the start that follows, small images
//   slots_cut_test TOKEN           replays exactly one run; a failure prints its token
// Token: size:layout:start:story:cut:model:seed, with cut "12+3" and model "torn+weak" when power goes again in the next start.
#include <stdio.h>
#include <stdlib.h>

#include "cut_judge.h"
#include "fast_digest.h"

namespace {

constexpr uint32_t S = tn::kSectorBytes;

// The large ones have images of 61 sectors (61 * 17 operations to write one) and 21 (which an update writes three times).
const Variant kLarge[] = {
    {"two-slot", {tn::Layout::kTwoSlot, {0, S}, {{S, S}, {2 * S, S}}, {{3 * S, 61 * S}, {64 * S, 61 * S}, {0, 0}}}, 125 * S},
    {"copy-in-place",
     {tn::Layout::kCopyInPlace, {0, S}, {{S, S}, {2 * S, S}}, {{3 * S, 21 * S}, {24 * S, 21 * S}, {45 * S, 21 * S}}},
     66 * S},
    {"esp32",
     {tn::Layout::kTwoSlot, {0, S}, {{S, S}, {2 * S, S}}, {{3 * S, 61 * S}, {64 * S, 61 * S}, {0, 0}}, {125 * S, 2 * S}},
     127 * S},
    {"esp8266",
     {tn::Layout::kCopyInPlace, {0, S}, {{S, S}, {2 * S, S}}, {{3 * S, 21 * S}, {24 * S, 21 * S}, {45 * S, 21 * S}}},
     66 * S,
     true},
};
const Variant kSmall[] = {
    {"two-slot", kSmallTwoSlot, 7 * S},
    {"copy-in-place", kSmallCopyInPlace, 9 * S},
    {"esp32", kSmallIdf, 9 * S},
    {"esp8266", kSmallCopyInPlace, 9 * S, true},
};
constexpr int kVariants = 4, kStoryCount = sizeof kStories / sizeof kStories[0];

// One run. `second` 0: one cut only.
struct Run {
  bool small;
  int variant, start, story;
  uint32_t cut, second;
  int model, second_model;
  uint32_t seed;
  bool within_copy = false;  // power went within a copy of a boot loader that cannot do it again

  const Variant &kind() const { return small ? kSmall[variant] : kLarge[variant]; }
};

struct Count {
  uint64_t runs, unbootable, broken;
  uint64_t window, window_runs, window_lost;  // operations of the boot loader's own copy, cuts within it, those that need a cable
};

Count counted;
constexpr uint64_t kMostReports = 10;

void print_token(const Run &run) {
  printf("%s:%s:%s:%s:%u", run.small ? "small" : "large", run.kind().name, kStarts[run.start], kStories[run.story].name, run.cut);
  if (run.second > 0) printf("+%u", run.second);
  printf(":%s", kDamageNames[run.model]);
  if (run.second > 0) printf("+%s", kDamageNames[run.second_model]);
  printf(":%u", run.seed);
}

void report(const Run &run, const Verdict &verdict) {
  ++counted.runs;
  if (run.within_copy) ++counted.window_runs;
  if (run.within_copy && !verdict.bootable) {
    ++counted.window_lost;
    return;
  }
  if (!verdict.bootable) ++counted.unbootable;
  if (verdict.broken == nullptr) return;
  ++counted.broken;
  printf("FAILED ");
  print_token(run);
  printf(" %s\n", verdict.broken);
  if (counted.broken < kMostReports) return;
  printf("R1: stopped after that many\n");
  exit(1);
}

uint32_t damage_seed(const Run &run, bool second) {
  const uint32_t parts[] = {run.cut, run.second * (second ? 1u : 0u), static_cast<uint32_t>(run.model), run.seed};
  uint32_t seed = 2166136261u;
  for (uint32_t part : parts) seed = (seed ^ part) * 16777619u;
  return seed ^ seed >> 15;
}

void arm(MemoryFlash *m, const Run &run, bool second) {
  m->random = damage_seed(run, second);
  m->damage = static_cast<Damage>(second ? run.second_model : run.model);
}

bool goes_on_too(const Run &run) { return run.second == 0 && (run.cut + static_cast<uint32_t>(run.model)) % 16 == 0; }

// Images of the size that belongs to the run.
void make_images(bool small, bool twice) {
  static int made = -1;
  if (made == small) return;
  made = small;
  test_crypto = small && !twice ? tn::bearssl_crypto() : fast_digest::crypto();
  TestImage *const images[] = {&zero, &one, &two, &three};
  for (uint8_t i = 0; i < 4; ++i) make_image(images[i], static_cast<uint8_t>(i + 1));
}

void set_length(const Run &run) {
  const uint32_t length = run.small ? 4201 : run.kind().partition.images[0].bytes - 77;
  if (image_bytes == length) return;
  image_bytes = length;
  TestImage *const images[] = {&zero, &one, &two, &three};
  for (uint8_t i = 0; i < 4; ++i) make_image(images[i], static_cast<uint8_t>(i + 1));
}

// --- every cut: the story is told once, and at each operation the flash branches off with that operation damaged

struct Sweep {
  Run run;
  Told told;
  bool twice;
  Told told_twice;  // what counts when power has gone once
  bool same, same_again;  // the operation before changed nothing: a cut there left what a cut here would (story, next start)
};

MemoryFlash branch, second_branch, story_flash;

// Firm cells programmed over themselves: whatever a cut leaves of that is what was there, and so is one judged for all.
bool changes_nothing(const MemoryFlash &m, uint32_t at, const uint8_t *to, uint32_t n) {
  return is_firming(m, at, to, n) && m.weak.n == 0;
}

// Power goes again in the start that follows a first cut. Done, and nobody was told, is not begun of the operation after it.
void cut_again(void *ctx, MemoryFlash *m, uint32_t at, const uint8_t *to, uint32_t n) {
  Sweep *sweep = static_cast<Sweep *>(ctx);
  const bool nothing = changes_nothing(*m, at, to, n), same = sweep->same_again;
  sweep->same_again = nothing;
  if (same && nothing) return;
  Run run = sweep->run;
  run.second = m->operations + 1;
  run.within_copy = run.within_copy || m->order.copying;
  for (run.second_model = 0; run.second_model < (nothing ? 1 : static_cast<int>(Damage::kDone)); ++run.second_model) {
    follow_flash(&second_branch, m);
    arm(&second_branch, run, true);
    damage_cells(&second_branch, at, to, n);
    power_on(&second_branch);
    report(run, judge(run.kind(), &second_branch, sweep->told_twice, false));
  }
}

// The branch has lost power once: it is started, cut again at each operation of that, and once after the last.
void start_branch(Sweep *sweep) {
  tn::Slots slots;
  power_on(&branch);
  sweep->told_twice = sweep->told;
  sweep->told_twice.had_start = had_its_one_start(sweep->run.kind(), &branch);
  branch.before = cut_again;
  branch.before_ctx = sweep;
  sweep->same_again = false;
  start(&slots, branch, sweep->run.kind().partition);
  Run run = sweep->run;
  run.second = branch.operations;
  run.second_model = static_cast<int>(Damage::kDone);
  if (run.second == 0) return;
  branch.before = nullptr;
  power_on(&branch);
  report(run, judge(run.kind(), &branch, sweep->told_twice, false));
}

void cut_here(void *ctx, MemoryFlash *m, uint32_t at, const uint8_t *to, uint32_t n) {
  Sweep *sweep = static_cast<Sweep *>(ctx);
  const bool nothing = changes_nothing(*m, at, to, n), same = sweep->same;
  sweep->same = nothing;
  if (same && nothing) return;
  Run &run = sweep->run;
  run.cut = m->operations + 1;
  run.within_copy = m->order.copying;
  if (run.within_copy) ++counted.window;
  const int models = nothing ? 1 : sweep->twice ? static_cast<int>(Damage::kDone) : kDamages;
  for (run.model = 0; run.model < models; ++run.model) {
    follow_flash(&branch, m);
    arm(&branch, run, false);
    damage_cells(&branch, at, to, n);
    power_on(&branch);
    if (sweep->twice) {
      start_branch(sweep);
    } else {
      report(run, judge(run.kind(), &branch, sweep->told, goes_on_too(run)));
    }
  }
}

// Returns the number of operations of the story; 0: it does not go as it should even without a cut.
uint32_t sweep_story(const Run &run, bool twice) {
  Sweep sweep = {run, {}, twice, {}, false, false};
  set_length(run);
  if (!prepare(run.kind(), run.start, &story_flash)) return 0;
  power_on(&story_flash);
  story_flash.before = cut_here;
  story_flash.before_ctx = &sweep;
  kStories[run.story].tell(run.kind(), &story_flash, &sweep.told);
  if (twice) {
    sweep.run.cut = story_flash.operations;
    sweep.run.model = static_cast<int>(Damage::kDone);
    sweep.run.within_copy = false;
    follow_flash(&branch, &story_flash);
    start_branch(&sweep);
  }
  return sweep.told == kStories[run.story].whole && story_flash.unerased == 0 ? story_flash.operations : 0;
}

int sweep_all(bool small, bool twice, uint32_t seed) {
  bool whole = true;
  uint64_t cuts = 0;
  Count total = {};
  uint32_t fewest = UINT32_MAX;
  for (int variant = 0; variant < kVariants; ++variant) {
    for (int begin = 0; begin < 2; ++begin) {
      for (int story = 0; story < kStoryCount; ++story) {
        counted.runs = counted.window = 0;
        const Run run = {small, variant, begin, story, 0, 0, 0, 0, seed};
        const uint32_t operations = sweep_story(run, twice);
        if (operations == 0) printf("FAILED without a cut: ");
        whole = whole && operations > 0;
        printf("%s from %s, %s: operations=%u runs=%llu boot-loader-copy-operations=%llu\n", run.kind().name, kStarts[begin],
               kStories[story].name, operations, static_cast<unsigned long long>(counted.runs),
               static_cast<unsigned long long>(counted.window));
        cuts += operations;
        total.runs += counted.runs;
        fewest = operations < fewest ? operations : fewest;
      }
    }
  }
  printf("R1: %s runs=%llu cuts=%llu models=%d fewest-operations=%u unbootable=%llu broken=%llu within-copy=%llu need-cable=%llu\n",
         twice ? "double" : "single",
         static_cast<unsigned long long>(total.runs), static_cast<unsigned long long>(cuts), kDamages, fewest,
         static_cast<unsigned long long>(counted.unbootable), static_cast<unsigned long long>(counted.broken),
         static_cast<unsigned long long>(counted.window_runs), static_cast<unsigned long long>(counted.window_lost));
  return whole && counted.broken == 0 && counted.unbootable == 0 ? 0 : 1;
}

// --- one run again, from its token, the plain way: the story really loses power

int find(const char *const *names, int n, const char *name) {
  for (int i = 0; i < n; ++i)
    if (strcmp(names[i], name) == 0) return i;
  return -1;
}

bool read_pair(char *text, char **first, char **second) {
  *first = text;
  *second = strchr(text, '+');
  if (*second != nullptr) *(*second)++ = '\0';
  return true;
}

bool read_token(const char *text, Run *run) {
  char copy[160], *parts[8] = {}, *rest = copy;
  if (strlen(text) >= sizeof copy) return false;
  strcpy(copy, text);
  int n = 0;
  while (n < 8 && rest != nullptr) parts[n++] = strsep(&rest, ":");
  if (n != 7 || rest != nullptr) return false;
  const char *const sizes[] = {"large", "small"};
  const char *variants[kVariants], *stories[kStoryCount];
  for (int i = 0; i < kVariants; ++i) variants[i] = kSmall[i].name;
  for (int i = 0; i < kStoryCount; ++i) stories[i] = kStories[i].name;
  char *cut, *second_cut, *model, *second_model;
  read_pair(parts[4], &cut, &second_cut);
  read_pair(parts[5], &model, &second_model);
  const int size = find(sizes, 2, parts[0]);
  *run = Run{size == 1,
             find(variants, kVariants, parts[1]),
             find(kStarts, 2, parts[2]),
             find(stories, kStoryCount, parts[3]),
             static_cast<uint32_t>(strtoul(cut, nullptr, 10)),
             second_cut == nullptr ? 0 : static_cast<uint32_t>(strtoul(second_cut, nullptr, 10)),
             find(kDamageNames, kDamages, model),
             second_model == nullptr ? 0 : find(kDamageNames, kDamages, second_model),
             static_cast<uint32_t>(strtoul(parts[6], nullptr, 10))};
  return size >= 0 && run->variant >= 0 && run->start >= 0 && run->story >= 0 && run->cut > 0 && run->model >= 0 &&
         run->second_model >= 0 && (second_cut == nullptr) == (second_model == nullptr);
}

int replay(const char *token) {
  Run run;
  if (!read_token(token, &run)) {
    printf("not a token: %s\n", token);
    return 2;
  }
  make_images(run.small, run.second > 0);
  set_length(run);
  MemoryFlash &m = story_flash;
  Told told = {};
  if (!prepare(run.kind(), run.start, &m)) return 2;
  power_on(&m);
  arm(&m, run, false);
  m.cut_at = run.cut;
  kStories[run.story].tell(run.kind(), &m, &told);
  bool was_cut = m.dead;
  run.within_copy = m.order.copying;
  power_on(&m);
  if (run.second > 0) {
    told.had_start = had_its_one_start(run.kind(), &m);
    arm(&m, run, true);
    m.cut_at = run.second;
    tn::Slots slots;
    start(&slots, m, run.kind().partition);
    was_cut = was_cut && m.dead;
    run.within_copy = run.within_copy || m.order.copying;
    power_on(&m);
  }
  if (!was_cut) {
    printf("the run of this token ends before that cut\n");
    return 2;
  }
  report(run, judge(run.kind(), &m, told, goes_on_too(run)));
  if (counted.broken == 0) {
    printf(counted.window_lost > 0 ? "needs a cable " : "passed ");
    print_token(run);
    printf("\n");
  }
  return counted.broken == 0 ? 0 : 1;
}

}  // namespace

int main(int argc, char **argv) {
  if (argc == 2) return replay(argv[1]);
  const bool twice = argc == 3 && strcmp(argv[1], "double") == 0;
  if (argc != 3 || (!twice && strcmp(argv[1], "single") != 0 && strcmp(argv[1], "small") != 0)) return 2;
  const bool small = strcmp(argv[1], "single") != 0;
  make_images(small, twice);
  return sweep_all(small, twice, static_cast<uint32_t>(strtoul(argv[2], nullptr, 10)));
}
