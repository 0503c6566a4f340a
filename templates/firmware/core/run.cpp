#include "run.h"

namespace tn {

namespace {

uint8_t both(unsigned a, unsigned b) { return static_cast<uint8_t>(a & b); }
uint8_t either(unsigned a, unsigned b) { return static_cast<uint8_t>(a | b); }
uint8_t without(unsigned a, unsigned b) { return static_cast<uint8_t>(a & ~b); }
uint8_t only(uint8_t mark) { return static_cast<uint8_t>(1u << mark); }

static_assert(kMarksPerTank <= 4 && kBegunAnew < 8 && kWatchedAnew < 4 && kRunNoteBits == 13, "a run's notes");

// The marks from the on mark up to, and not with, the off mark.
uint8_t marks_on_the_way(const PumpRules &rules) {
  const unsigned up_to_high = (2u << rules.high_mark) - 1u;
  return without(up_to_high & ~(only(rules.low_mark) - 1u), only(off_mark(rules)));
}

bool goal_reached(const Run &run, const PumpRules &rules, const Level &level, bool on) {
  const uint8_t off = only(off_mark(rules));
  const uint8_t goal = marks_at_goal(rules, level);
  if (both(goal, off) != 0) return true;
  const bool flaps = both(level.flapping_marks, off) != 0 || (run.stopped_by_flapping && !on);
  return flaps && both(run.doubted_marks, only(on_mark(rules))) == 0 && without(marks_on_the_way(rules), goal) == 0;
}

void take_back(Run *run) {
  run->still_ms += run->gave_ms;
  run->from_mark = run->gave_from_mark;
  run->fed_marks = without(run->fed_marks, run->last_fed);
  run->last_fed = 0;
}

void feed(Run *run, uint8_t marks) {
  run->fed_marks = either(run->fed_marks, marks);
  run->last_fed = marks;
  run->gave_ms = run->still_ms;
  run->gave_from_mark = run->from_mark;
  run->still_ms = 0;
  run->from_mark = false;
}

void begin_anew(Run *run, uint8_t goal) {
  ++run->begun_anew;
  run->watched_anew = 0;
  run->on_ms = run->still_ms = 0;
  run->fed_marks = run->reached_marks = goal;
  run->last_fed = 0;
  run->from_mark = run->stopped_by_flapping = false;
}

}  // namespace

uint8_t marks_at_goal(const PumpRules &rules, const Level &level) {
  return rules.does == PumpDoes::kFill ? level.wet_marks : level.dry_marks;
}

uint8_t marks_against(const PumpRules &rules, const Level &level) {
  return rules.does == PumpDoes::kFill ? level.dry_marks : level.wet_marks;
}

void run_start(Run *run, const PumpRules &rules, const Level &level, bool from_mark) {
  if (run->under_way) {
    run->from_mark = run->stopped_by_flapping = false;
    if (run->watched_anew >= kWatchedAnew) return;
    ++run->watched_anew;
    run->still_ms = 0;
    run->last_fed = 0;
    return;
  }
  const uint8_t goal = marks_at_goal(rules, level);
  *run = Run{};
  run->under_way = true;
  run->from_mark = from_mark && rules.first_rise_s != 0;
  run->fed_marks = either(goal, level.flapping_marks);
  run->reached_marks = goal;
}

void run_look(Run *run, const PumpRules &rules, const Level &level, bool on) {
  if (!run->under_way || !level.settled || level.contradictory) return;
  if (goal_reached(*run, rules, level, on)) {
    *run = Run{};
    return;
  }
  const uint8_t goal = marks_at_goal(rules, level), against = marks_against(rules, level);
  const uint8_t back = both(run->reached_marks, against);
  if (both(run->last_fed, against) != 0) take_back(run);
  if (on) {
    run->doubted_marks = either(run->doubted_marks, back);
    if (both(level.flapping_marks, only(off_mark(rules))) != 0) run->stopped_by_flapping = true;
  } else if (run->on_ms == 0) {
    // It has just begun anew, and the water goes on draining.
    run->reached_marks = without(run->reached_marks, back);
    run->fed_marks = without(run->fed_marks, back);
  } else if (without(back, run->doubted_marks) != 0 && run->begun_anew < kBegunAnew) {
    begin_anew(run, goal);
  }
  const uint8_t moved = without(either(goal, level.flapping_marks), run->fed_marks);
  if (moved != 0) feed(run, moved);
  run->reached_marks = either(run->reached_marks, goal);
}

RunEnd run_end(const Run &run, const PumpRules &rules) {
  const auto over = [](uint64_t ms, uint32_t bound_s) { return bound_s != 0 && ms >= 1000ull * bound_s; };
  if (!run.under_way) return RunEnd::kNone;
  if (over(run.on_ms, rules.longest_run_s)) return RunEnd::kLongest;
  if (rules.no_rise_s == 0) return RunEnd::kNone;
  const bool still = over(run.still_ms, rules.no_rise_s) || (run.from_mark && over(run.still_ms, rules.first_rise_s));
  return still ? RunEnd::kStill : RunEnd::kNone;
}

// From the lowest bit: marks that fed or were reached, doubted marks, how often begun anew, and watched anew.
// A mark that fed by flapping was never reached: it is doubted, or a restart would make it one that came and went.
uint16_t run_notes(const Run &run) {
  const unsigned doubted = either(run.doubted_marks, without(run.fed_marks, run.reached_marks));
  const unsigned marks = either(run.fed_marks, run.reached_marks) | doubted << 4;
  return static_cast<uint16_t>(marks | static_cast<unsigned>(run.begun_anew) << 8 | static_cast<unsigned>(run.watched_anew) << 11);
}

Run run_from(uint16_t notes, uint64_t on_ms, uint64_t still_ms) {
  Run run{};
  run.under_way = on_ms != 0 || still_ms != 0;
  if (!run.under_way) return run;
  run.fed_marks = run.reached_marks = both(notes, 15u);
  run.doubted_marks = both(notes >> 4, 15u);
  run.begun_anew = both(notes >> 8, 7u);
  run.watched_anew = both(notes >> 11, 3u);
  run.on_ms = on_ms;
  run.still_ms = still_ms;
  return run;
}

}  // namespace tn
