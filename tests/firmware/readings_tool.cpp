// readings_tool MARKS fill|drain ON_MARK OFF_MARK: what the console would say of a tank whose holds are over, with all
// probes dry, then one more wet at a time from the lowest up, and at last with the highest alone wet.
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/probe.h"
#include "core/pump.h"
#include "core/tank.h"

namespace {

void say(const tn::Level &level, const tn::Pump &pump) {
  if (level.level == tn::kLevelUnknown) printf("level unknown");
  else printf("level %d", level.level);
  printf(", pump relay %s, %s\n", pump.on ? "on" : "off", tn::pump_why_text(pump.why));
}

}  // namespace

int main(int argc, char **argv) {
  if (argc != 5) return 2;
  const size_t marks = strtoul(argv[1], nullptr, 10);
  tn::TankBlock block{};
  block.mark_count = static_cast<uint8_t>(marks);
  block.pump_does = static_cast<uint8_t>(strcmp(argv[2], "fill") == 0 ? tn::PumpDoes::kFill : tn::PumpDoes::kDrain);
  block.pump_on_mark = static_cast<uint8_t>(atoi(argv[3]));
  block.pump_off_mark = static_cast<uint8_t>(atoi(argv[4]));
  const tn::PumpRules rules = tn::pump_rules(block, 10);
  tn::Pump pump;
  tn::pump_begin(&pump, 0);
  tn::Probe probes[tn::kMarksPerTank] = {};
  uint64_t at_ms = 60000;
  for (size_t wet = 0; wet <= marks; ++wet) {
    for (size_t i = 0; i < marks; ++i) probes[i].state = i < wet ? tn::ProbeState::kWet : tn::ProbeState::kDry;
    const tn::Level level = tn::level_from(probes, marks);
    tn::pump_step(&pump, rules, level, false, at_ms);
    say(level, pump);
    at_ms += 5000;
  }
  for (size_t i = 0; i + 1 < marks; ++i) probes[i].state = tn::ProbeState::kDry;
  const tn::Level level = tn::level_from(probes, marks);
  tn::pump_step(&pump, rules, level, false, at_ms);
  say(level, pump);
  return 0;
}
