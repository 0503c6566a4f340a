// The longest trial that the core allows, by starts: an image that controls nothing, whose restarts come 10 s before its trial is over.
// A line for each: boot loader, cause of the restarts, trials, starts until the older image runs for good, seconds on trial.
// tests/push/test_weak_trials.py holds the worst outage of a plan against it.
#include "check.h"
#include "idf_boot.h"
#include "node_world.h"

namespace {

using namespace world;

bool can_start(const MemoryFlash &, const tn::Partition &, uint8_t) { return true; }

// The start that comes now; false: the older image runs, and nothing is on trial any more.
bool start(const tn::Partition &map, tn::Reset cause, int *starts) {
  w.reset = cause;
  for (int i = 0; i < 4; ++i) {
    ++*starts;
    if (&map == &kSmallIdf) {
      for (Socket &s : w.sockets) s = Socket{};
      w.restarts = 0;
      const int slot = idf::start(&w.flash, map, can_start);
      CHECK(slot >= 0);
      node.begin(&w.port, &w.block, &map, static_cast<uint8_t>(slot));
      node.step();
      w.reset = tn::Reset::kRestart;
      if (w.restarts != 0) continue;  // it hands over to the other image
    } else {
      CHECK(boot());
    }
    return facts().phase == tn::Phase::kOnTrial;
  }
  CHECK(!"it ends");
  return false;
}

// `browns` brown-outs, then restarts by the watchdog, until it is back.
void longest(const char *name, const tn::Partition &map, const char *causes, int browns) {
  first_flash();
  int starts = 0;
  if (&map == &kSmallIdf) node.begin(&w.port, &w.block, &map, 0);
  else CHECK(boot());
  settle();
  pass_ms(1000);
  CHECK(status_in(put(1, 6)) == 202);
  pass_ms(1000);
  CHECK(w.restarts == 1);
  int trials = 0;
  uint64_t on_trial_ms = 0;
  for (tn::Reset cause = tn::Reset::kRestart; start(map, cause, &starts); ++trials) {
    const uint64_t ms = w.block.trial_s * 1000u - 10000u;
    pass_ms(ms);
    on_trial_ms += ms;
    CHECK(facts().phase == tn::Phase::kOnTrial && w.restarts == 0);
    cause = trials < browns ? tn::Reset::kBrownOut : tn::Reset::kWatchdog;
  }
  CHECK(facts().phase == tn::Phase::kPutBack);
  printf("trials: %s %s %d %d %llu\n", name, causes, trials, starts, static_cast<unsigned long long>(on_trial_ms / 1000));
}

}  // namespace

int main() {
  check_test = "longest trials";
  longest("own", kSmallTwoSlot, "brown-outs", 99);
  longest("own", kSmallTwoSlot, "watchdog", 0);
  longest("own", kSmallTwoSlot, "both", 3);
  longest("esp32", kSmallIdf, "brown-outs", 99);
  longest("esp32", kSmallIdf, "watchdog", 0);
  longest("esp32", kSmallIdf, "both", 3);
  return check_result();
}
