#include "pump.h"

namespace tn {

namespace {

uint64_t seconds(uint32_t s) { return static_cast<uint64_t>(s) * 1000u; }

void switch_to(Pump *pump, bool on, uint64_t at_ms) {
  if (on == pump->on) return;
  pump->on = on;
  if (on) {
    ++pump->starts;
    pump->on_since_ms = at_ms;
    pump->progress_ms = at_ms;
  } else {
    pump->off_since_ms = at_ms;
    pump->run_ms += at_ms - pump->on_since_ms;
  }
}

// A mark that newly became wet (fill) or dry (drain) shows that the pump moves water.
void watch_run(Pump *pump, const PumpRules &rules, const Level &level, uint64_t at_ms) {
  const unsigned was = pump->watched_marks;
  const unsigned is = level.wet_marks;
  const unsigned moved = rules.does == PumpDoes::kFill ? is & ~was : was & ~is;
  pump->watched_marks = level.wet_marks;
  if (moved != 0) pump->progress_ms = at_ms;
  if (!pump->on) return;
  if (rules.longest_run_s != 0 && at_ms - pump->on_since_ms >= seconds(rules.longest_run_s)) {
    pump->latched = TankFault::kLongestRun;
  } else if (rules.no_rise_s != 0 && at_ms - pump->progress_ms >= seconds(rules.no_rise_s)) {
    pump->latched = TankFault::kNoRise;
  }
}

// What forbids running, whatever the level asks for. True if something does; `why` is then set.
bool forbidden(Pump *pump, const PumpRules &rules, const Level &level, bool updating, uint64_t at_ms) {
  if (tank_fault(level, *pump) != TankFault::kNone) {
    pump->why = PumpWhy::kFault;
  } else if (updating) {
    pump->why = PumpWhy::kUpdating;
  } else if (pump->rest_until_ms != 0) {
    pump->why = PumpWhy::kResting;
  } else if (at_ms - pump->begun_ms < seconds(rules.power_up_hold_s)) {
    pump->why = PumpWhy::kPowerUpHold;
  } else if (!level.settled) {
    pump->why = PumpWhy::kUnknownLevel;
  } else {
    return false;
  }
  return true;
}

}  // namespace

PumpRules pump_rules(const TankBlock &tank, uint16_t power_up_hold_s) {
  const PumpDoes does = static_cast<PumpDoes>(tank.pump_does);
  const bool fills = does == PumpDoes::kFill;
  return PumpRules{does,
                   fills ? tank.pump_on_mark : tank.pump_off_mark,
                   fills ? tank.pump_off_mark : tank.pump_on_mark,
                   tank.longest_run_s,
                   tank.no_rise_s,
                   tank.shortest_off_s,
                   power_up_hold_s};
}

void pump_begin(Pump *pump, uint64_t at_ms) {
  *pump = Pump{false, PumpWhy::kPowerUpHold, TankFault::kNone, 0, 0, at_ms, at_ms, at_ms, at_ms, 0, 0};
}

void pump_step(Pump *pump, const PumpRules &rules, const Level &level, bool updating, uint64_t at_ms) {
  if (rules.does == PumpDoes::kNone) return;
  if (pump->rest_until_ms != 0 && at_ms >= pump->rest_until_ms) pump->rest_until_ms = 0;
  watch_run(pump, rules, level, at_ms);
  if (forbidden(pump, rules, level, updating, at_ms)) {
    switch_to(pump, false, at_ms);
    return;
  }
  const bool above_high = mark_is_wet(level, rules.high_mark);
  const bool below_low = !mark_is_wet(level, rules.low_mark);
  const bool fills = rules.does == PumpDoes::kFill;
  pump->why = above_high ? PumpWhy::kAboveHigh : below_low ? PumpWhy::kBelowLow : PumpWhy::kBetween;
  if (fills ? above_high : below_low) {
    switch_to(pump, false, at_ms);
  } else if (!pump->on && (fills ? below_low : above_high)) {
    if (at_ms - pump->off_since_ms < seconds(rules.shortest_off_s)) {
      pump->why = PumpWhy::kShortestOff;
    } else {
      switch_to(pump, true, at_ms);
    }
  }
}

PumpCarry pump_carry(const Pump &pump, uint64_t at_ms) {
  const auto whole_s = [](uint64_t ms) { return static_cast<uint32_t>(ms / 1000u); };
  return PumpCarry{pump.latched, whole_s(pump_this_run_ms(pump, at_ms)), pump.on ? whole_s(at_ms - pump.progress_ms) : 0};
}

void pump_resume(Pump *pump, const PumpCarry &carry) { pump->latched = carry.latched; }

bool pump_clear(Pump *pump) {
  const bool latched = pump->latched != TankFault::kNone;
  pump->latched = TankFault::kNone;
  return latched;
}

void pump_rest(Pump *pump, uint64_t at_ms) {
  pump->rest_until_ms = at_ms + kRestMs;
}

TankFault tank_fault(const Level &level, const Pump &pump) {
  return level.contradictory ? TankFault::kContradictory : pump.latched;
}

uint64_t pump_this_run_ms(const Pump &pump, uint64_t at_ms) { return pump.on ? at_ms - pump.on_since_ms : 0; }

const char *tank_fault_text(TankFault fault) {
  switch (fault) {
    case TankFault::kNone: return "none";
    case TankFault::kContradictory: return "contradictory";
    case TankFault::kLongestRun: return "longest-run";
    case TankFault::kNoRise: return "no-rise";
    case TankFault::kFlapping: return "flapping";
  }
  return "none";
}

const char *pump_why_text(PumpWhy why) {
  switch (why) {
    case PumpWhy::kBelowLow: return "below-low";
    case PumpWhy::kAboveHigh: return "above-high";
    case PumpWhy::kBetween: return "between";
    case PumpWhy::kFault: return "fault";
    case PumpWhy::kPowerUpHold: return "power-up-hold";
    case PumpWhy::kShortestOff: return "shortest-off";
    case PumpWhy::kResting: return "resting";
    case PumpWhy::kUnknownLevel: return "unknown-level";
    case PumpWhy::kUpdating: return "updating";
  }
  return "fault";
}

const char *pump_does_text(PumpDoes does) { return does == PumpDoes::kDrain ? "drain" : "fill"; }

}  // namespace tn
