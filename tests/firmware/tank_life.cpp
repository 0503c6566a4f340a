// tank_life: for each line of standard input one tank, its water simulated here, its node the real core; a line of what came of it.
//
// In: SEED SECONDS does(1|2) shape(c|b|h|f) A B C (metres: cylinder diameter height 0; box length width height; lying cylinder diameter
// length 0; frustum lower upper diameter height) OVERFLOW_M MARKS HEIGHT_M... ON OFF FLOW AGAINST (L/min) DEBOUNCE_MS LONGEST_S NO_RISE_S
// FIRST_S SHORTEST_OFF_S PERIOD_S pump(1 works|0 dead) against(c constant|v varying) stir(0|1) interrupt_every_s(0: never) LEVEL_M
// Out: fault that stays (none, longest-run, no-rise), seconds on since the run began, level in mm then, lowest and highest level in mm,
// starts, contradictory and flapping faults.
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/control.h"
#include "sample_block.h"

namespace {

constexpr double kPi = 3.14159265358979;
constexpr double kClingM = 0.003;   // water hangs on a probe's tip (the capillary length is 2.7 mm; from memory)
constexpr double kCalmTauS = 30.0;  // waves die away once nothing stirs (own choice)
constexpr double kWaveShare = 0.02;  // of the power of water that falls in: what goes into waves (from memory)
constexpr double kFallM = 1.0;

struct Tank {
  char does, shape;
  double a, b, c, overflow_m, mark_m[4];
  double flow, against, period_s, level_m;
  int works, stir, marks;
  char kind;
  unsigned long long seed, seconds, interrupt_s;
};

Tank t;
tn::NodeBlock block;
tn::Port port;
tn::Control control;
uint64_t at_ms;
bool relay_on, clings[4];
double taken, amplitude_m, splash_until_s[4];
uint64_t random_state;

uint32_t random32() {
  random_state = random_state * 6364136223846793005ull + 1442695040888963407ull;
  return static_cast<uint32_t>(random_state >> 32);
}
double uniform() { return random32() / 4294967296.0; }

double area_m2(double h) {
  if (t.shape == 'c') return kPi * t.a * t.a / 4;
  if (t.shape == 'b') return t.a * t.b;
  if (t.shape == 'f') {
    const double d = t.a + (t.b - t.a) * h / t.c;
    return kPi * d * d / 4;
  }
  const double half = h * (t.a - h);
  return 2 * t.b * sqrt(half > 1e-4 * t.a * t.a ? half : 1e-4 * t.a * t.a);
}

double net_m3_per_s() {
  const double way = t.does == 1 ? 1 : -1;
  const double pump = relay_on && t.works ? t.flow : 0;
  return way * (pump - taken) / 60000;
}

// Waves hold E = rho g a^2 / 2 per square metre, lose it with the time constant, and get a share of rho g q H.
double stirred_m() {
  const double inflow = t.does == 2 ? taken : relay_on && t.works ? t.flow : 0;
  return sqrt(2 * kWaveShare * kFallM * kCalmTauS * inflow / 60000 / area_m2(t.level_m));
}

void flow(double s) {
  for (double left = s; left > 0;) {
    const double step = left < 1 ? left : 1;
    t.level_m += net_m3_per_s() * step / area_m2(t.level_m);
    if (t.level_m < 0) t.level_m = 0;
    if (t.level_m > t.overflow_m) t.level_m = t.overflow_m;
    left -= step;
  }
  const double goal = t.stir ? stirred_m() : 0;
  amplitude_m = amplitude_m < goal ? goal : goal + (amplitude_m - goal) * exp(-s / kCalmTauS);
}

bool probe_is_low(void *, uint8_t pin, uint8_t) {
  const unsigned i = pin - 1u;
  const double s = static_cast<double>(at_ms) / 1000;
  if (t.stir && relay_on && uniform() < 0.01) splash_until_s[i] = s + 0.3;  // a splash each 10 s
  const double wave = amplitude_m * (0.7 * sin(2 * kPi * s / t.period_s) + 0.6 * (uniform() - 0.5));
  const double over = t.level_m + wave - t.mark_m[i];
  clings[i] = over >= 0 || (clings[i] && over > -kClingM);
  return clings[i] || s < splash_until_s[i];
}
void relay(void *, uint8_t, bool level_high) { relay_on = level_high; }
uint64_t process_ms(void *) { return at_ms; }

// Fine steps near a mark and while anything changes, coarse ones between.
double step_s() {
  const double speed = fabs(net_m3_per_s()) / area_m2(t.level_m);
  double free_m = 1e9;
  for (int i = 0; i < t.marks; ++i) {
    const double off = fabs(t.level_m - t.mark_m[i]) - amplitude_m - 2 * kClingM;
    free_m = off < free_m ? off : free_m;
  }
  const tn::TankControl &tank = control.tanks[0];
  for (int i = 0; i < t.marks; ++i)
    if (tank.probes[i].reading_wet != (tank.probes[i].state == tn::ProbeState::kWet)) return 0.1;
  if (free_m <= 0 || tank.level.flapping_marks != 0) return 0.1;
  const double s = speed > 0 ? free_m / speed : 60;
  return s > 30 ? 30 : s < 0.1 ? 0.1 : s;
}

bool read_tank() {
  tn::TankBlock &tank = block.tanks[0];
  unsigned on, off, debounce, longest, no_rise, first, shortest;
  int does;
  sample_head(&block);
  memset(&tank, 0, sizeof tank);
  block.tank_count = 1;
  strcpy(tank.name, "tank");
  if (scanf("%llu %llu %d %c %lf %lf %lf %lf %d", &t.seed, &t.seconds, &does, &t.shape, &t.a, &t.b, &t.c, &t.overflow_m, &t.marks) != 9) return false;
  for (int i = 0; i < t.marks; ++i) {
    if (scanf("%lf", &t.mark_m[i]) != 1) return false;
    set_mark(&tank, static_cast<uint8_t>(i), "m", static_cast<uint16_t>(1000 * t.mark_m[i]), static_cast<uint8_t>(i + 1));
  }
  if (scanf("%u %u %lf %lf %u %u %u %u %u", &on, &off, &t.flow, &t.against, &debounce, &longest, &no_rise, &first, &shortest) != 9) return false;
  if (scanf("%lf %d %c %d %llu %lf", &t.period_s, &t.works, &t.kind, &t.stir, &t.interrupt_s, &t.level_m) != 6) return false;
  t.does = static_cast<char>(does);
  set_pump(&tank, static_cast<tn::PumpDoes>(does), 10, static_cast<uint8_t>(on), static_cast<uint8_t>(off));
  tank.pump_active_high = 1;
  block.debounce_ms = static_cast<uint16_t>(debounce);
  tank.longest_run_s = longest;
  tank.no_rise_s = no_rise;
  tank.first_rise_s = static_cast<uint16_t>(first);
  tank.shortest_off_s = shortest;
  return true;
}

// Power goes for up to half an hour or, one time in five, some hours; the record of runs is up to a minute behind.
void interrupt() {
  tn::PumpCarry carry = tn::pump_carry(control.tanks[0].pump, at_ms);
  const uint32_t behind_s = random32() % 60;
  carry.run_s -= behind_s < carry.run_s ? behind_s : carry.run_s;
  carry.still_s = carry.still_s < carry.run_s ? carry.still_s : carry.run_s;
  relay_on = false;
  const double away_s = random32() % 5 == 0 ? 10000 * uniform() : 1800 * uniform();
  flow(away_s);
  at_ms += static_cast<uint64_t>(1000 * away_s);
  tn::control_begin(&control, &block, &port);
  tn::pump_resume(&control.tanks[0].pump, carry);
}

void live() {
  random_state = t.seed;
  at_ms = 0;
  relay_on = false;
  amplitude_m = 0;
  taken = t.against;
  memset(clings, 0, sizeof clings);
  memset(splash_until_s, 0, sizeof splash_until_s);
  tn::control_begin(&control, &block, &port);
  double low = t.level_m, high = t.level_m;
  unsigned long long contradictory = 0, flapping = 0, starts = 0;
  uint64_t change_ms = 0, cut_ms = 1000 * t.interrupt_s;
  tn::TankFault was = tn::TankFault::kNone;
  const tn::Pump &pump = control.tanks[0].pump;
  while (at_ms < 1000 * t.seconds && pump.latched == tn::TankFault::kNone) {
    if (t.kind == 'v' && at_ms >= change_ms) {
      taken = random32() % 3 == 0 ? t.against : t.against * uniform();
      change_ms = at_ms + 1000 * (600 + random32() % 14400);
    }
    if (t.interrupt_s != 0 && at_ms >= cut_ms) {
      interrupt();
      cut_ms = at_ms + 2000 * (t.interrupt_s * (random32() % 1000) / 1000 + 1);
    }
    const double s = step_s();
    flow(s);
    at_ms += static_cast<uint64_t>(1000 * s);
    const bool before = relay_on;
    tn::control_step(&control, false);
    starts += !before && relay_on;
    const tn::TankFault fault = tn::tank_fault(control.tanks[0].level, pump);
    contradictory += fault == tn::TankFault::kContradictory && was != fault;
    flapping += fault == tn::TankFault::kFlapping && was != fault;
    was = fault;
    low = t.level_m < low ? t.level_m : low;
    high = t.level_m > high ? t.level_m : high;
  }
  printf("%s %llu %.1f %.1f %.1f %llu %llu %llu\n", tn::tank_fault_text(pump.latched), static_cast<unsigned long long>(pump.run.on_ms / 1000),
         1000 * t.level_m, 1000 * low, 1000 * high, starts, contradictory, flapping);
}

}  // namespace

int main() {
  port.probe_is_low = probe_is_low;
  port.relay = relay;
  port.process_ms = process_ms;
  while (read_tank()) live();
  return 0;
}
