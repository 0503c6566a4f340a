// pump_model STEPS SEED [BROKEN]: random lives of two pumps, one that fills and one that drains, through the real core, held to
// pump_rules.h. In any order: restarts and power cuts, updates, rests, clears, dead and flapping probes, loose contacts, stirred
// water, pumps that move nothing. BROKEN damages the core on purpose (1 to 8, below), so that a test can see the rules bite.
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/control.h"
#include "pump_rules.h"
#include "sample_block.h"

namespace {

enum Broken : long { kSound = 0, kForgetsRuns, kNeverFlaps, kRestClears, kClearStarts, kFlapsFeed, kRestartClears, kOffForgetsRuns, kNoFirstRise };

constexpr int kLifeSteps = 20000;

struct Random {
  uint64_t state;
  uint32_t next() {
    state = state * 6364136223846793005ull + 1442695040888963407ull;
    return static_cast<uint32_t>(state >> 32);
  }
  uint32_t below(uint32_t n) { return static_cast<uint32_t>(static_cast<uint64_t>(next()) * n >> 32); }
  uint32_t from(uint32_t low, uint32_t high) { return low + below(high - low + 1); }
  bool once_in(uint32_t n) { return below(n) == 0; }
};

enum class Probing : uint8_t { kWater, kStuckDry, kStuckWet, kLoose, kNoise };

// A tank's water, and what is the matter with its probes.
struct Water {
  double level_mm, pump_mm_per_s, other_mm_per_s, wave_mm;
  bool pump_works;
  Probing probing[tn::kMarksPerTank];
  uint32_t loose_ms[tn::kMarksPerTank];
};

struct World {
  Random random;
  tn::NodeBlock block;
  tn::Port port;
  tn::Control control;
  Water water[2];
  PumpJudge judges[2];
  tn::PumpCarry record[2];
  bool relay[2];
  uint64_t at_ms;
  uint32_t behind_s;
  bool updating;
  long broken;
};
World w;

size_t tank_of(uint8_t pin) { return pin >= 20; }

bool reading(size_t tank, uint8_t mark) {
  const Water &water = w.water[tank];
  const double wave = water.wave_mm * (w.random.below(1000) / 500.0 - 1);
  const bool under = water.level_mm + wave >= w.block.tanks[tank].marks[mark].height_mm;
  switch (water.probing[mark]) {
    case Probing::kWater: return under;
    case Probing::kStuckDry: return false;
    case Probing::kStuckWet: return true;
    case Probing::kLoose: return under && w.at_ms / water.loose_ms[mark] % 2 == 0;
    case Probing::kNoise: return w.random.once_in(2);
  }
  return under;
}

bool probe_is_low(void *, uint8_t pin, uint8_t) {
  const size_t tank = tank_of(pin);
  const auto mark = static_cast<uint8_t>(pin % 20 - 1);
  const bool wet = reading(tank, mark);
  w.judges[tank].reads(mark, wet, w.at_ms);
  return wet;
}
void relay(void *, uint8_t pin, bool level_high) { w.relay[tank_of(pin)] = level_high; }
uint64_t process_ms(void *) { return w.at_ms; }

void make_tank(size_t i) {
  tn::TankBlock &tank = w.block.tanks[i];
  Random &r = w.random;
  memset(&tank, 0, sizeof tank);
  strcpy(tank.name, i == 0 ? "fill" : "drain");
  const auto marks = static_cast<uint8_t>(r.from(2, 4));
  for (uint8_t k = 0; k < marks; ++k) set_mark(&tank, k, "m", static_cast<uint16_t>(200 + 400 * k), static_cast<uint8_t>(20 * i + k + 1));
  const auto low = static_cast<uint8_t>(r.below(marks - 1u));
  const auto high = static_cast<uint8_t>(r.from(low + 1u, marks - 1u));
  set_pump(&tank, i == 0 ? tn::PumpDoes::kFill : tn::PumpDoes::kDrain, static_cast<uint8_t>(20 * i + 10), i == 0 ? low : high, i == 0 ? high : low);
  tank.pump_active_high = 1;
  tank.longest_run_s = r.once_in(8) ? 0 : r.from(20, 400);
  tank.no_rise_s = r.once_in(8) ? 0 : r.from(10, 200);
  tank.first_rise_s = static_cast<uint16_t>(r.once_in(2) ? 0 : r.from(5, 60));
  tank.shortest_off_s = r.below(30);
}

void make_water(size_t i) {
  Water &water = w.water[i];
  Random &r = w.random;
  const double way = i == 0 ? 1 : -1;
  water.level_mm = r.below(2000);
  water.pump_works = !r.once_in(3);
  water.pump_mm_per_s = way * r.from(5, 100);
  water.other_mm_per_s = -way * r.below(40);
  water.wave_mm = r.once_in(2) ? 0 : r.below(80);
  for (size_t k = 0; k < tn::kMarksPerTank; ++k) {
    const uint32_t kind = r.below(20);
    water.probing[k] = kind > 4 ? Probing::kWater : static_cast<Probing>(kind);
    water.loose_ms[k] = r.from(50, 6000);
  }
}

void begin_node(bool cut) {
  tn::control_begin(&w.control, &w.block, &w.port);
  for (size_t i = 0; i < 2; ++i) {
    if (w.broken == kForgetsRuns) w.record[i] = tn::PumpCarry{w.record[i].latched, 0, 0, 0};
    if (w.broken == kRestartClears) w.record[i].latched = tn::TankFault::kNone;
    tn::pump_resume(&w.control.tanks[i].pump, w.record[i]);
    w.judges[i].node_starts(w.at_ms, cut);
  }
  w.updating = false;
}

void begin_life(uint64_t seed) {
  w.random = Random{seed * 0x9E3779B97F4A7C15ull + 1};
  sample_head(&w.block);
  w.block.tank_count = 2;
  w.block.debounce_ms = static_cast<uint16_t>(w.random.from(200, 2500));
  w.block.sample_period_ms = static_cast<uint16_t>(w.random.from(50, 150));
  w.block.power_up_hold_s = static_cast<uint16_t>(w.random.below(15));
  w.behind_s = w.random.from(1, 60);
  w.at_ms = w.random.below(1000);
  for (size_t i = 0; i < 2; ++i) {
    make_tank(i);
    make_water(i);
    w.record[i] = tn::PumpCarry{};
  }
  w.port = tn::Port{};
  w.port.probe_is_low = probe_is_low;
  w.port.relay = relay;
  w.port.process_ms = process_ms;
  tn::control_begin(&w.control, &w.block, &w.port);
  for (size_t i = 0; i < 2; ++i) {
    const tn::TankControl &tank = w.control.tanks[i];
    w.judges[i].begin(Judged{tank.rules, w.block.tanks[i].mark_count, w.block.debounce_ms, w.block.sample_period_ms, 1000ull * w.behind_s}, w.at_ms);
  }
  w.updating = false;
}

// What a record of runs keeps: a fault that comes or goes and a run that ends at once, a run that goes on now and then.
void keep_record(bool all) {
  for (size_t i = 0; i < 2; ++i) {
    const tn::PumpCarry now = tn::pump_carry(w.control.tanks[i].pump, w.at_ms), &was = w.record[i];
    const bool back = now.run_s < was.run_s || now.still_s < was.still_s;
    if (all || now.latched != was.latched || back || now.run_s >= was.run_s + w.behind_s) w.record[i] = now;
  }
}

void flow(uint64_t ms) {
  for (size_t i = 0; i < 2; ++i) {
    Water &water = w.water[i];
    const bool on = w.relay[i] && water.pump_works;
    water.level_mm += static_cast<double>(ms) / 1000 * (water.other_mm_per_s + (on ? water.pump_mm_per_s : 0));
    if (water.level_mm < 0) water.level_mm = 0;
    if (water.level_mm > 2000) water.level_mm = 2000;
  }
}

void pass(uint64_t ms) {
  flow(ms);
  w.at_ms += ms;
}

void restart(bool cut) {
  keep_record(!cut);
  w.relay[0] = w.relay[1] = false;
  pass(w.random.below(cut ? 300000 : 5000));
  begin_node(cut);
}

int clear(size_t i) {
  tn::Pump &pump = w.control.tanks[i].pump;
  const bool said = tn::pump_clear(&pump);
  if (w.broken == kClearStarts && said) pump.off_since_ms = pump.begun_ms;
  keep_record(false);
  return w.judges[i].cleared(said);
}

void rest() {
  for (size_t i = 0; i < 2; ++i) {
    w.judges[i].rests(w.at_ms);
    if (w.broken == kRestClears) w.control.tanks[i].pump.latched = tn::TankFault::kNone;
    tn::pump_rest(&w.control.tanks[i].pump, w.at_ms);
  }
}

int events() {
  Random &r = w.random;
  if (r.once_in(1500)) restart(r.once_in(2));
  if (r.once_in(w.updating ? 50 : 3000)) w.updating = !w.updating;
  if (r.once_in(6000)) rest();
  if (r.once_in(400)) make_water(r.below(2));
  return r.once_in(1000) ? clear(r.below(2)) : kNoRule;
}

// Mostly as a node's loop goes; at times it stands still, and while nothing runs hours may pass.
uint64_t next_step_ms() {
  Random &r = w.random;
  const bool idle = !w.relay[0] && !w.relay[1];
  if (idle && r.once_in(idle ? 100 : 1000)) return r.below(20000);
  return r.once_in(200) ? r.below(4000) : r.from(20, 200);
}

void damage() {
  for (size_t i = 0; i < 2; ++i) {
    tn::Run &run = w.control.tanks[i].pump.run;
    if (w.broken == kFlapsFeed) run.fed_marks = run.last_fed = 0;
    if (w.broken == kOffForgetsRuns && !w.relay[i]) run = tn::Run{};
    if (w.broken == kNoFirstRise) run.from_mark = false;
    for (tn::Probe &probe : w.control.tanks[i].probes)
      if (w.broken == kNeverFlaps) probe.unrest_ms = 0;
  }
}

int step() {
  int broken = events();
  pass(next_step_ms());
  damage();
  tn::control_step(&w.control, w.updating);
  for (size_t i = 0; i < 2 && broken == kNoRule; ++i) {
    const tn::TankControl &tank = w.control.tanks[i];
    broken = w.judges[i].stepped(w.relay[i], tn::tank_fault(tank.level, tank.pump), w.updating, w.at_ms);
  }
  keep_record(false);
  return broken;
}

}  // namespace

int main(int argc, char **argv) {
  if (argc < 3) return 2;
  const unsigned long long steps = strtoull(argv[1], nullptr, 10), first = strtoull(argv[2], nullptr, 10);
  w.broken = argc > 3 ? strtol(argv[3], nullptr, 10) : kSound;
  unsigned long long starts = 0, latched = 0;
  for (unsigned long long done = 0, seed = first; done < steps; ++seed) {
    begin_life(seed);
    for (int i = 0; i < kLifeSteps && done < steps; ++i, ++done) {
      const bool was = w.relay[0], fault = w.control.tanks[0].pump.latched != tn::TankFault::kNone;
      const int broken = step();
      starts += !was && w.relay[0];
      latched += !fault && w.control.tanks[0].pump.latched != tn::TankFault::kNone;
      if (broken == kNoRule) continue;
      printf("rule %s broken: seed %llu, step %d, %llu steps in all\n", rule_name(broken), seed, i, done);
      return 1;
    }
  }
  printf("%llu steps, %llu starts and %llu faults that stay of the filling pump, 0 broken rules\n", steps, starts, latched);
  return 0;
}
