// outage_life: for each line of standard input one tank whose node is updated once, as late as its spare time lets it; the water is reckoned here, the
// node is the real core. A line of what came of it.
//
// In: SEED does(1 fills|2 drains) shape(c|b|f|l) A B C (metres: upright cylinder diameter 0 height; box length width height; frustum lower diameter,
// upper diameter, height; lying cylinder diameter length 0) LIMIT_M MARKS HEIGHT_M... ON OFF FLOW AGAINST (L/min) DEBOUNCE_MS SHORTEST_OFF_S HOLD_S
// RUN_UP_S (of the pump, until it gives water) AGE_S (from the state until the first byte) PASSED_S (how long the water has moved when the state is
// told) LEVEL_M (before that) AWAY_S... (from the first byte until the node runs again: one for each number of wet marks, below 0: not updated)
// Out: wet marks by the state (-1: not sure), seconds away (-1: not updated), seconds of the largest draw (or inflow) that were left before the limit
// was touched; below 0: it was touched.
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/control.h"
#include "sample_block.h"

namespace {

constexpr double kPi = 3.14159265358979;
constexpr int kSlices = 2000;
constexpr uint64_t kStepMs = 20;

struct Tank {
  unsigned long long seed;
  int does, marks;
  char shape;
  double a, b, c, limit_m, mark_m[4], flow, against, run_up_s, age_s, passed_s, level_m, away_s[5];
};

Tank t;
tn::NodeBlock block;
tn::Port port;
tn::Control control;
uint64_t at_ms, on_since_ms;
bool relay_on, still;
double water_l, mark_l[4], least_l, limit_l;

double area_m2(double h) {
  switch (t.shape) {
    case 'c': return kPi * t.a * t.a / 4;
    case 'b': return t.a * t.b;
    case 'f': {
      const double d = t.a + (t.b - t.a) * h / t.c;
      return kPi * d * d / 4;
    }
    default: return 2 * t.b * sqrt(h * (t.a - h) > 0 ? h * (t.a - h) : 0);
  }
}

// The midpoint rule over a sine of the height: a lying cylinder is narrow at its ends.
double litres(double h) {
  double sum = 0;
  for (int i = 0; i < kSlices; ++i) {
    const double angle = kPi * (i + 0.5) / kSlices;
    sum += area_m2(h * (1 - cos(angle)) / 2) * h * sin(angle) / 2;
  }
  return 1000 * sum * kPi / kSlices;
}

bool gives_water() { return relay_on && static_cast<double>(at_ms - on_since_ms) >= 1000 * t.run_up_s; }

// Litres on the safe side of the limit.
double left_l() { return t.does == 1 ? water_l - limit_l : limit_l - water_l; }

void flow(uint64_t ms) {
  at_ms += ms;
  if (still) return;
  const double way = t.does == 1 ? 1 : -1;
  water_l += way * ((gives_water() ? t.flow : 0) - t.against) * static_cast<double>(ms) / 60000;
  if (left_l() < least_l) least_l = left_l();
}

bool probe_is_low(void *, uint8_t pin, uint8_t) { return water_l >= mark_l[pin - 1]; }
void relay(void *, uint8_t, bool level_high) {
  if (level_high && !relay_on) on_since_ms = at_ms;
  relay_on = level_high;
}
uint64_t process_ms(void *) { return at_ms; }

void step() {
  flow(kStepMs);
  tn::control_step(&control, false);
}

void pass(double s) {
  const uint64_t end_ms = at_ms + static_cast<uint64_t>(1000 * s);
  while (at_ms < end_ms) step();
}

// As the tool reads a state: every probe is sure.
int told() {
  int wet = 0;
  for (int i = 0; i < t.marks; ++i) {
    const tn::ProbeState state = control.tanks[0].probes[i].state;
    if (state != tn::ProbeState::kWet && state != tn::ProbeState::kDry) return -1;
    wet += state == tn::ProbeState::kWet;
  }
  return wet;
}

bool read_tank() {
  tn::TankBlock &tank = block.tanks[0];
  unsigned on, off, debounce, shortest, hold;
  sample_head(&block);
  memset(&tank, 0, sizeof tank);
  block.tank_count = 1;
  strcpy(tank.name, "tank");
  if (scanf("%llu %d %c %lf %lf %lf %lf %d", &t.seed, &t.does, &t.shape, &t.a, &t.b, &t.c, &t.limit_m, &t.marks) != 8) return false;
  for (int i = 0; i < t.marks; ++i) {
    if (scanf("%lf", &t.mark_m[i]) != 1) return false;
    set_mark(&tank, static_cast<uint8_t>(i), "m", static_cast<uint16_t>(1000 * t.mark_m[i]), static_cast<uint8_t>(i + 1));
    mark_l[i] = litres(t.mark_m[i]);
  }
  if (scanf("%u %u %lf %lf %u %u %u", &on, &off, &t.flow, &t.against, &debounce, &shortest, &hold) != 7) return false;
  if (scanf("%lf %lf %lf %lf", &t.run_up_s, &t.age_s, &t.passed_s, &t.level_m) != 4) return false;
  for (int i = 0; i <= t.marks; ++i)
    if (scanf("%lf", &t.away_s[i]) != 1) return false;
  set_pump(&tank, static_cast<tn::PumpDoes>(t.does), 10, static_cast<uint8_t>(on), static_cast<uint8_t>(off));
  tank.pump_active_high = 1;
  tank.longest_run_s = tank.no_rise_s = 1000000;
  tank.shortest_off_s = shortest;
  block.debounce_ms = static_cast<uint16_t>(debounce);
  block.power_up_hold_s = static_cast<uint16_t>(hold);
  return true;
}

// Until the pump gives water, or the node has all it needs to decide and does not want it.
void take_over(double slowest_s) {
  const uint64_t end_ms = at_ms + static_cast<uint64_t>(1000 * slowest_s);
  while (at_ms < end_ms && !gives_water()) step();
}

void live() {
  at_ms = on_since_ms = 0;
  relay_on = false;
  water_l = litres(t.level_m);
  limit_l = litres(t.limit_m);
  still = true;
  tn::control_begin(&control, &block, &port);
  const double debounce_s = block.debounce_ms / 1000.0;
  pass(4 * debounce_s + 1);
  still = false;
  least_l = left_l();
  pass(t.passed_s);
  const int wet = told();
  if (wet < 0 || t.away_s[wet] < 0) {
    printf("%d -1 0\n", wet);
    return;
  }
  pass(t.age_s);
  const tn::PumpCarry carry = tn::pump_carry(control.tanks[0].pump, at_ms);
  tn::control_all_off(&control);
  flow(static_cast<uint64_t>(1000 * t.away_s[wet]));
  tn::control_begin(&control, &block, &port);
  tn::pump_resume(&control.tanks[0].pump, carry);
  const double rest_s = block.tanks[0].shortest_off_s > block.power_up_hold_s ? block.tanks[0].shortest_off_s : block.power_up_hold_s;
  take_over(rest_s + 4 * debounce_s + t.run_up_s + 5);
  printf("%d %.1f %.3f\n", wet, t.away_s[wet], 60 * least_l / t.against);
}

}  // namespace

int main() {
  port.probe_is_low = probe_is_low;
  port.relay = relay;
  port.process_ms = process_ms;
  while (read_tank()) live();
  return 0;
}
