// Power is cut at every flash operation of all that is done to the credentials, with every damage model, and again at every operation
// of the start that follows: the node always has its key and a network that it was on, and nothing that was given up is left.
#include <stdio.h>

#include "check.h"
#include "core/credentials.h"
#include "memory_flash.h"

namespace {

using tn::Credentials;
using tn::NetworkPhase;
using tn::Which;

constexpr uint32_t kSeeds = 12;
constexpr int kStarts = 3;  // after the cuts
const uint8_t kKey[32] = {1, 2, 3, 4, 5, 6, 7, 8, 9, 250};

tn::Network network_of(const char *name) {
  tn::Network network = {};
  snprintf(network.name, sizeof network.name, "%s-wifi", name);
  snprintf(network.passphrase, sizeof network.passphrase, "passphrase of %s", name);
  return network;
}
const tn::Network kOld = network_of("old"), kNew = network_of("new"), kThird = network_of("third");

// How it stands; null: no network there.
struct Standing {
  const tn::Network *kept, *fresh;
  NetworkPhase phase;
};
constexpr Standing kAtFirst = {&kOld, nullptr, NetworkPhase::kKept}, kTrial = {&kOld, &kNew, NetworkPhase::kOnTrial},
                   kTrialOfThird = {&kOld, &kThird, NetworkPhase::kOnTrial}, kAllNew = {&kNew, nullptr, NetworkPhase::kKept},
                   kBack = {&kOld, nullptr, NetworkPhase::kPutBack};

struct Story {
  const char *name;
  Standing before, after;
  int starts;  // of the trial, before it
  void (*does)(Credentials *c, MemoryFlash *m);
};

void starts(Credentials *c, MemoryFlash *m) { c->begin(&m->flash, &kSmallTwoSlot); }
void gives(Credentials *c, MemoryFlash *) { c->give(kNew, 600); }
void gives_third(Credentials *c, MemoryFlash *) { c->give(kThird, 600); }
void keeps(Credentials *c, MemoryFlash *) { c->keep(); }
void puts_back(Credentials *c, MemoryFlash *) { c->put_back(); }
void gives_and_keeps(Credentials *c, MemoryFlash *) {
  if (c->give(kNew, 600) == tn::Code::kOk) c->keep();
}

const Story kStories[] = {
    {"give", kAtFirst, kTrial, 0, gives},          {"give another", kTrial, kTrialOfThird, 1, gives_third},
    {"keep", kTrial, kAllNew, 0, keeps},           {"keep after starts", kTrial, kAllNew, 2, keeps},
    {"put back", kTrial, kBack, 1, puts_back},     {"start", kTrial, kTrial, 1, starts},
    {"fourth start", kTrial, kBack, 3, starts},    {"give and keep", kAtFirst, kAllNew, 0, gives_and_keeps},
    {"give again", kBack, kTrial, 0, gives},
};

bool same_network(const Credentials &c, Which which, const tn::Network *wanted) {
  tn::Network found;
  const tn::Network none = {};
  return c.network(which, &found) && memcmp(&found, wanted == nullptr ? &none : wanted, sizeof found) == 0;
}
bool stands(const Credentials &c, const Standing &as) {
  return c.phase() == as.phase && same_network(c, Which::kKept, as.kept) && same_network(c, Which::kNew, as.fresh);
}

// A trial that was begun: the story "give and keep" goes through it, and further starts end one.
bool stands_as_may_be(const Credentials &c, const Story &story, bool many_starts) {
  if (stands(c, story.before) || stands(c, story.after)) return true;
  if (story.does == gives_and_keeps && stands(c, kTrial)) return true;
  return many_starts && stands(c, kBack);
}

bool in_cells(const MemoryFlash &m, const char *what) {
  const size_t n = strlen(what);
  for (const tn::Area &area : kSmallTwoSlot.credentials)
    for (uint32_t i = 0; i + n <= area.bytes; ++i)
      if (memcmp(m.cells + area.at + i, what, n) == 0) return true;
  return false;
}

// Of all that it ever held, only what the newest record holds is left.
bool nothing_given_up_is_left(const Credentials &c, const MemoryFlash &m) {
  if (c.phase() == NetworkPhase::kOnTrial) return true;
  const tn::Network *const all[] = {&kOld, &kNew, &kThird};
  for (const tn::Network *each : all)
    if (!same_network(c, Which::kKept, each) && in_cells(m, each->passphrase)) return false;
  return true;
}

MemoryFlash prepared, flash;
Credentials credentials;

void prepare(const Story &story) {
  fresh_flash(&prepared);
  CHECK(tn::first_credentials(prepared.flash, kSmallTwoSlot, kKey, kOld));
  CHECK(credentials.begin(&prepared.flash, &kSmallTwoSlot) && stands(credentials, kAtFirst));
  if (story.before.phase != NetworkPhase::kKept) CHECK(credentials.give(kNew, 600) == tn::Code::kOk);
  if (story.before.phase == NetworkPhase::kPutBack) CHECK(credentials.put_back() == tn::Code::kOk);
  for (int i = 0; i < story.starts; ++i) CHECK(credentials.begin(&prepared.flash, &kSmallTwoSlot));
  CHECK(stands(credentials, story.before) && prepared.unerased == 0);
}

// The story from a start on, cut at its operation `cut` (0: not at all). Operations that it took.
uint32_t live(const Story &story, uint32_t cut, int damage, uint32_t seed) {
  copy_all_but_cells(&flash, prepared);
  memcpy(flash.cells, prepared.cells, kSmallFlashBytes);
  power_on(&flash);
  if (story.does != starts) credentials.begin(&flash.flash, &kSmallTwoSlot);
  const uint32_t before = flash.operations;
  flash.cut_at = cut == 0 ? 0 : before + cut;
  flash.damage = static_cast<Damage>(damage);
  flash.random = seed;
  story.does(&credentials, &flash);
  return flash.operations - before;
}

uint64_t runs = 0;

// What is said of a node that starts again and again after the cuts.
bool judge(const Story &story, int earlier_starts, const char **what) {
  for (int start = 0; start < kStarts; ++start) {
    power_on(&flash);
    *what = "begins";
    if (!credentials.begin(&flash.flash, &kSmallTwoSlot)) return false;
    *what = "has its key";
    if (memcmp(credentials.node_key(), kKey, sizeof kKey) != 0) return false;
    *what = "has the networks of before or after";
    if (!stands_as_may_be(credentials, story, story.starts + earlier_starts + start + 1 >= tn::kNetworkTrialStarts)) return false;
  }
  *what = "holds nothing that was given up";
  if (!nothing_given_up_is_left(credentials, flash)) return false;
  *what = "goes on";
  if (credentials.give(kThird, 60) != tn::Code::kOk || credentials.keep() != tn::Code::kOk) return false;
  return same_network(credentials, Which::kKept, &kThird) && nothing_given_up_is_left(credentials, flash) && flash.unerased == 0;
}

void report(const Story &story, uint32_t cut, int damage, uint32_t second, int second_damage, uint32_t seed) {
  ++runs;
  const char *what = "";
  if (judge(story, second == 0 ? 1 : 2, &what)) return;
  CHECK(!"a node that");
  printf("  %s: %s:%u+%u:%s+%s:%u\n", what, story.name, cut, second, kDamageNames[damage],
         second == 0 ? "-" : kDamageNames[second_damage], seed);
}

void cut_twice(const Story &story, uint32_t cut, int damage, uint32_t seed) {
  for (int second_damage = 0; second_damage < kDamages; ++second_damage) {
    for (uint32_t second = 1;; ++second) {
      live(story, cut, damage, seed);
      power_on(&flash);
      flash.cut_at = second;
      flash.damage = static_cast<Damage>(second_damage);
      credentials.begin(&flash.flash, &kSmallTwoSlot);
      if (!flash.dead) break;
      report(story, cut, damage, second, second_damage, seed);
    }
  }
}

void every_cut(const Story &story, bool and_every_next_cut) {
  prepare(story);
  const uint32_t operations = live(story, 0, 0, 0);
  CHECK(operations >= 2 && stands(credentials, story.after) && nothing_given_up_is_left(credentials, flash));
  for (uint32_t cut = 1; cut <= operations; ++cut) {
    for (int damage = 0; damage < kDamages; ++damage) {
      for (uint32_t seed = 1; seed <= kSeeds; ++seed) {
        live(story, cut, damage, seed);
        CHECK(flash.dead);
        report(story, cut, damage, 0, 0, seed);
        if (and_every_next_cut) cut_twice(story, cut, damage, seed);
      }
    }
  }
}

}  // namespace

// `once`: one power cut a run; else the next start is cut everywhere too.
int main(int argc, char **) {
  check_test = "power cuts";
  const bool once = argc > 1;
  for (const Story &story : kStories) every_cut(story, !once);
  printf("%llu runs\n", static_cast<unsigned long long>(runs));
  CHECK(runs >= (once ? 1000 : 49504));
  return check_result();
}
