#include "pump.h"

namespace tn {

namespace {

uint64_t seconds(uint32_t s) { return static_cast<uint64_t>(s) * 1000u; }

void pass_time(Pump *pump, uint64_t at_ms) {
  const uint64_t passed_ms = at_ms - pump->at_ms;
  pump->at_ms = at_ms;
  if (!pump->on) return;
  pump->run_ms += passed_ms;
  pump->run.on_ms += passed_ms;
  pump->run.still_ms += passed_ms;
}

void latch_if_over(Pump *pump, const PumpRules &rules) {
  const RunEnd end = run_end(pump->run, rules);
  if (end != RunEnd::kNone) pump->latched = end == RunEnd::kLongest ? TankFault::kLongestRun : TankFault::kNoRise;
}

void watch_on_mark(Pump *pump, const PumpRules &rules, const Level &level, uint64_t at_ms) {
  if (!level.settled || level.contradictory) return;
  if (has_mark(marks_at_goal(rules, level), on_mark(rules))) pump->on_mark_held = true;
  if (!pump->on_mark_held || !has_mark(marks_against(rules, level), on_mark(rules))) return;
  pump->on_mark_held = false;
  pump->on_mark_left = true;
  pump->left_ms = at_ms;
}

void watch_flapping(Pump *pump, const Level &level, uint64_t at_ms) {
  const uint8_t flapping = pump->on ? 0 : level.flapping_marks;
  const auto still = static_cast<uint8_t>(pump->flapping_marks & flapping);
  if (still == 0) pump->flapping_ms = at_ms;
  pump->flapping_marks = still == 0 ? flapping : still;
  pump->flaps_long = pump->flapping_marks != 0 && at_ms - pump->flapping_ms >= kFlappingFaultMs;
}

void switch_off(Pump *pump, uint64_t at_ms) {
  if (pump->on) pump->off_since_ms = at_ms;
  pump->on = false;
}

void switch_on(Pump *pump, const PumpRules &rules, const Level &level, uint64_t at_ms) {
  const bool just_left = pump->on_mark_left && at_ms - pump->left_ms <= seconds(rules.shortest_off_s);
  run_start(&pump->run, rules, level, just_left);
  latch_if_over(pump, rules);
  if (pump->latched != TankFault::kNone) {
    pump->why = PumpWhy::kFault;
    return;
  }
  pump->on = true;
  ++pump->starts;
}

void watch(Pump *pump, const PumpRules &rules, const Level &level, uint64_t at_ms) {
  watch_on_mark(pump, rules, level, at_ms);
  if (pump->latched != TankFault::kNone) return;
  run_look(&pump->run, rules, level, pump->on);
  if (pump->on) latch_if_over(pump, rules);
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
                   tank.first_rise_s,
                   tank.shortest_off_s,
                   power_up_hold_s};
}

void pump_begin(Pump *pump, uint64_t at_ms) {
  *pump = Pump{};
  pump->why = PumpWhy::kPowerUpHold;
  pump->begun_ms = pump->off_since_ms = pump->flapping_ms = pump->at_ms = at_ms;
}

void pump_step(Pump *pump, const PumpRules &rules, const Level &level, bool updating, uint64_t at_ms) {
  pass_time(pump, at_ms);
  watch_flapping(pump, level, at_ms);
  if (rules.does == PumpDoes::kNone) return;
  if (pump->rest_until_ms != 0 && at_ms >= pump->rest_until_ms) pump->rest_until_ms = 0;
  watch(pump, rules, level, at_ms);
  if (forbidden(pump, rules, level, updating, at_ms)) {
    switch_off(pump, at_ms);
    return;
  }
  const bool fills = rules.does == PumpDoes::kFill;
  const unsigned wet_marks = level.wet_marks | (fills ? level.flapping_marks : 0u);
  const bool above_high = has_mark(static_cast<uint8_t>(wet_marks), rules.high_mark);
  const bool below_low = !has_mark(static_cast<uint8_t>(wet_marks), rules.low_mark);
  pump->why = above_high ? PumpWhy::kAboveHigh : below_low ? PumpWhy::kBelowLow : PumpWhy::kBetween;
  if (fills ? above_high : below_low) {
    switch_off(pump, at_ms);
  } else if (!pump->on && (fills ? below_low : above_high)) {
    if (at_ms - pump->off_since_ms < seconds(rules.shortest_off_s)) {
      pump->why = PumpWhy::kShortestOff;
    } else {
      switch_on(pump, rules, level, at_ms);
    }
  }
}

PumpCarry pump_carry(const Pump &pump, uint64_t at_ms) {
  const auto whole_s = [](uint64_t ms) { return static_cast<uint32_t>(ms / 1000u); };
  const Run &run = pump.run;
  if (!run.under_way) return PumpCarry{pump.latched, 0, 0, 0};
  const uint64_t since_ms = pump.on ? at_ms - pump.at_ms : 0;
  // What a mark that came and went has given is not to be kept by a restart in between.
  const uint64_t gave_ms = (run.last_fed & run.doubted_marks) != 0 ? run.gave_ms : 0;
  return PumpCarry{pump.latched, whole_s(run.on_ms + since_ms), whole_s(run.still_ms + gave_ms + since_ms), run_notes(run)};
}

void pump_resume(Pump *pump, const PumpCarry &carry) {
  const bool stays = carry.latched == TankFault::kLongestRun || carry.latched == TankFault::kNoRise;
  pump->latched = stays ? carry.latched : TankFault::kNone;
  pump->run = run_from(carry.notes, seconds(carry.run_s), seconds(carry.still_s));
}

bool pump_clear(Pump *pump) {
  if (pump->latched == TankFault::kNone) return false;
  pump->latched = TankFault::kNone;
  pump->run = Run{};
  return true;
}

void pump_rest(Pump *pump, uint64_t at_ms) {
  pump->rest_until_ms = at_ms + kRestMs;
}

// One that stays is told before one that passes.
TankFault tank_fault(const Level &level, const Pump &pump) {
  if (pump.latched != TankFault::kNone) return pump.latched;
  if (level.contradictory) return TankFault::kContradictory;
  return pump.flaps_long ? TankFault::kFlapping : TankFault::kNone;
}

uint64_t pump_this_run_ms(const Pump &pump, uint64_t at_ms) { return pump.on ? pump.run.on_ms + at_ms - pump.at_ms : 0; }

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
