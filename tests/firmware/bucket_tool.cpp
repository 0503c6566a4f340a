// bucket_tool MARKS fill|drain ON_MARK OFF_MARK NO_RISE_S FIRST_RISE_S SHORTEST_OFF_S: probes tried in a bucket, one more wet at
// a time, and then left in the state in which the pump relay is on, for 10 h. Says after how many seconds on which fault ends it.
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/probe.h"
#include "core/pump.h"
#include "core/tank.h"

namespace {

constexpr uint32_t kDebounceMs = 2000;
constexpr uint64_t kStepMs = 10000, kLeftMs = 36000000;
tn::PumpRules rules;
tn::Pump pump;
tn::Probe probes[tn::kMarksPerTank];
uint64_t at_ms;
size_t marks;

void hold(size_t wet, uint64_t for_ms) {
  for (const uint64_t end_ms = at_ms + for_ms; at_ms < end_ms; at_ms += 100) {
    for (size_t i = 0; i < marks; ++i) tn::probe_sample(&probes[i], i < wet, at_ms, kDebounceMs);
    tn::pump_step(&pump, rules, tn::level_from(probes, marks), false, at_ms);
  }
}

uint32_t number(const char *text) { return static_cast<uint32_t>(strtoul(text, nullptr, 10)); }

}  // namespace

int main(int argc, char **argv) {
  if (argc != 8) return 2;
  marks = number(argv[1]);
  const bool fill = strcmp(argv[2], "fill") == 0;
  tn::TankBlock block{};
  block.mark_count = static_cast<uint8_t>(marks);
  block.pump_does = static_cast<uint8_t>(fill ? tn::PumpDoes::kFill : tn::PumpDoes::kDrain);
  block.pump_on_mark = static_cast<uint8_t>(number(argv[3]));
  block.pump_off_mark = static_cast<uint8_t>(number(argv[4]));
  rules = tn::pump_rules(block, 10);
  rules.no_rise_s = number(argv[5]);
  rules.first_rise_s = number(argv[6]);
  rules.shortest_off_s = number(argv[7]);
  tn::pump_begin(&pump, 0);
  for (size_t i = 0; i < marks; ++i) tn::probe_begin(&probes[i]);
  hold(0, 1000ull * (rules.shortest_off_s + 15));
  for (size_t wet = 1; wet <= marks; ++wet) hold(wet, kStepMs);
  const uint64_t before_ms = fill ? pump.run_ms : 0;
  hold(fill ? 0 : marks, kLeftMs);
  const tn::Level level = tn::level_from(probes, marks);
  printf("%llu %s\n", static_cast<unsigned long long>((pump.run_ms - before_ms) / 1000), tn::tank_fault_text(tn::tank_fault(level, pump)));
  return 0;
}
