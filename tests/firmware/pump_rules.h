// What the pump of a tank may and must do, told from outside: from what its probes read, what people and the node do, and the pump
// relay. Nothing here looks into the core. `go` is the reading that lets a pump run (dry for fill, wet for drain), `goal` the
// other one.
//
//  1 off-anyway   The relay is off at each start of the node, through the power-up hold, while updating, and 600 s after a rest.
//  2 short-off    It does not go on within the shortest off time of going off, nor of a start of the node.
//  3 goal         It is off once the off mark has read goal for a debounce, until that mark has read go for as long.
//  4 flapping     It is not on all through 12 debounces in which the off mark read goal for half of the time.
//  5 contradiction It is off while, for two debounces, a higher mark has been wet and a lower one dry.
//  6 longest      Until its goal is seen or a person clears the fault, its time on is at most the longest run, and once more for each
//                 mark that came and went, but 7 times at most; whatever interrupts it. A restart forgets a second, a power cut what
//                 the record is behind.
//  7 still        Without interruption it is never on for the no-rise time (and what it takes to believe one)
//                 while no reading changes; nor for it once more than
//                 there are marks, whatever they read.
//  8 first-rise   A fresh run that begins as the level leaves the on mark does not outlast the first-rise time before it is back.
//  9 stays        A longest-run or no-rise fault is told, and the relay off, until a person clears it: through rests, updates and
//                 restarts.
// 10 reason       Those faults are told only after so much time on since the goal was last plain to see.
// 11 passes       The flapping fault is told only after the relay has been off for 10 min, and not with steady readings.
// 12 runs         With steady readings that ask for water, and nothing of the above against it, the relay is on.
#ifndef TN_TEST_PUMP_RULES_H
#define TN_TEST_PUMP_RULES_H

#include <stdint.h>
#include <stdio.h>

#include "core/pump.h"

enum Rule : int {
  kNoRule = 0, kOffAnyway, kShortOff, kGoal, kFlapping, kContradiction, kLongest, kStill, kFirstRise, kStays, kReason, kPasses, kRuns
};

// One probe, as it was read.
struct Eye {
  bool read;
  bool wet;
  int held;           // the last reading that lasted a debounce: 0 dry, 1 wet, -1 none yet
  bool was_at_goal;   // has read goal since it last counted as gone
  uint64_t since_ms;  // of the present reading
};

struct Judged {
  tn::PumpRules rules;
  uint8_t marks;
  uint32_t debounce_ms;
  uint32_t sample_ms;
  uint64_t behind_ms;  // how far the record of runs may be behind at a power cut
};

class PumpJudge {
 public:
  void begin(const Judged &judged, uint64_t at_ms) {
    *this = PumpJudge{};
    it_ = judged;
    plain_ = true;
    node_starts(at_ms, false);
    slack_ms_ = 0;
  }

  void node_starts(uint64_t at_ms, bool cut) {
    for (Eye &eye : eyes_) eye = Eye{false, false, -1, eye.was_at_goal, at_ms};
    begun_ms_ = off_ms_ = at_ms_ = at_ms;
    slack_ms_ += 1000 + (cut ? it_.behind_ms : 0);
    rest_until_ms_ = 0;
    on_ = held_goal_ = false;
    left_ms_ = 0;
    window_ms_ = 0;
  }

  void rests(uint64_t at_ms) { rest_until_ms_ = at_ms + 600000; }

  // A person clears the fault; `said`: the node says that there was one.
  int cleared(bool said) {
    const bool was = told_ != tn::TankFault::kNone;
    told_ = tn::TankFault::kNone;
    if (was) forget(true);
    return said == was ? kNoRule : kStays;
  }

  void reads(uint8_t mark, bool wet, uint64_t at_ms) {
    Eye &eye = eyes_[mark];
    if (mark == tn::off_mark(it_.rules)) watch_window(eye, at_ms);
    if (!eye.read || eye.wet != wet) {
      if (eye.read) changed_ms_ = at_ms;
      eye.read = true;
      eye.wet = wet;
      eye.since_ms = at_ms;
    } else if (at_ms - eye.since_ms >= it_.debounce_ms) {
      eye.held = wet;
    }
    if (is_goal(wet)) eye.was_at_goal = true;
    if (mark == tn::off_mark(it_.rules) && is_goal(wet)) off_seen_ = true;
  }

  // After each step of the node.
  int stepped(bool on, tn::TankFault fault, bool updating, uint64_t at_ms) {
    const uint64_t passed_ms = at_ms - at_ms_;
    at_ms_ = at_ms;
    step_ms_ = passed_ms;
    if (passed_ms > widest_ms_) widest_ms_ = passed_ms;
    if (on_) on_for_ms_ += passed_ms, plain_on_ms_ += passed_ms, stretch_ms_ += passed_ms;
    look();
    int broken = off_anyway(on, updating);
    if (broken == kNoRule) broken = marks_allow(on);
    if (broken == kNoRule) broken = counts(on);
    if (broken == kNoRule) broken = faults(on, fault);
    if (broken == kNoRule && !updating) broken = runs(on, fault);
    if (on_ && !on) off_ms_ = at_ms;
    on_ = on;
    return broken;
  }

 private:
  Judged it_;
  Eye eyes_[tn::kMarksPerTank];
  bool on_, plain_, fresh_, off_seen_, held_goal_;
  tn::TankFault told_;  // that stays
  int cycles_;
  uint64_t at_ms_, step_ms_, widest_ms_, begun_ms_, off_ms_, rest_until_ms_, changed_ms_, left_ms_;
  uint64_t on_for_ms_, plain_on_ms_, stretch_ms_, slack_ms_;
  uint64_t window_ms_, window_goal_ms_, window_last_ms_;
  bool window_on_;

  bool fills() const { return it_.rules.does == tn::PumpDoes::kFill; }
  bool is_goal(bool wet) const { return wet == fills(); }
  bool holds_goal(uint8_t mark) const { return eyes_[mark].held >= 0 && is_goal(eyes_[mark].held == 1); }
  bool holds_go(uint8_t mark) const { return eyes_[mark].held >= 0 && !is_goal(eyes_[mark].held == 1); }
  bool steady(uint8_t mark, uint64_t ms) const { return eyes_[mark].held == eyes_[mark].wet && at_ms_ - eyes_[mark].since_ms >= ms; }

  // For the two debounces after which anything is believed, with the samples and the step around them.
  uint64_t long_ms() const { return 2ull * it_.debounce_ms + 2ull * it_.sample_ms + 2 * step_ms_; }

  bool all_steady(int but = -1) const {
    for (uint8_t i = 0; i < it_.marks; ++i)
      if (i != but && !steady(i, long_ms())) return false;
    return true;
  }
  bool in_order() const {
    for (uint8_t i = 1; i < it_.marks; ++i)
      if (eyes_[i].held > eyes_[i - 1].held) return false;
    return true;
  }
  bool contradictory() const {
    for (uint8_t low = 0; low < it_.marks; ++low)
      for (uint8_t high = static_cast<uint8_t>(low + 1); high < it_.marks; ++high)
        if (steady(low, long_ms()) && steady(high, long_ms()) && !eyes_[low].wet && eyes_[high].wet) return true;
    return false;
  }
  bool way_holds_goal() const {
    for (uint8_t i = it_.rules.low_mark; i <= it_.rules.high_mark; ++i)
      if (i != tn::off_mark(it_.rules) && !holds_goal(i)) return false;
    return true;
  }

  void forget(bool plain) {
    on_for_ms_ = slack_ms_ = 0;
    cycles_ = 0;
    if (plain) plain_on_ms_ = 0, plain_ = true;
  }

  void watch_window(const Eye &eye, uint64_t at_ms) {
    const uint64_t passed_ms = at_ms - window_last_ms_;
    if (window_ms_ == 0 || !on_ || passed_ms > it_.debounce_ms / 2 || at_ms - window_ms_ > 12ull * it_.debounce_ms) {
      window_ms_ = at_ms;
      window_goal_ms_ = 0;
    } else if (is_goal(eye.wet)) {
      window_goal_ms_ += passed_ms;
    }
    window_last_ms_ = at_ms;
  }

  // What the readings say of the run: its goal, marks that came and went, the on mark left.
  void look() {
    const uint8_t on_mark = tn::on_mark(it_.rules), off_mark = tn::off_mark(it_.rules);
    for (uint8_t i = 0; i < it_.marks; ++i) {
      if (!holds_go(i) || !eyes_[i].was_at_goal || is_goal(eyes_[i].wet)) continue;
      eyes_[i].was_at_goal = false;
      ++cycles_;
    }
    if (!all_steady(on_mark) || !in_order()) {
      held_goal_ = false;
      left_ms_ = 0;
    } else if (holds_goal(on_mark)) {
      held_goal_ = held_goal_ || steady(on_mark, long_ms());
      left_ms_ = 0;
    } else if (holds_go(on_mark) && held_goal_) {
      held_goal_ = false;
      left_ms_ = at_ms_;
    }
    if (holds_goal(off_mark) || (off_seen_ && way_holds_goal())) forget(all_steady() && holds_goal(off_mark) && !contradictory());
  }

  int off_anyway(bool on, bool updating) const {
    if (!on) return kNoRule;
    const bool held = at_ms_ - begun_ms_ < 1000ull * it_.rules.power_up_hold_s;
    if (updating || held || at_ms_ < rest_until_ms_) return kOffAnyway;
    return !on_ && at_ms_ - off_ms_ < 1000ull * it_.rules.shortest_off_s ? kShortOff : kNoRule;
  }

  int marks_allow(bool on) const {
    if (!on) return kNoRule;
    if (holds_goal(tn::off_mark(it_.rules))) return kGoal;
    const bool whole = window_ms_ != 0 && window_last_ms_ - window_ms_ >= 12ull * it_.debounce_ms - it_.sample_ms;
    if (on_ && whole && 2 * window_goal_ms_ >= window_last_ms_ - window_ms_ + 2ull * it_.sample_ms) return kFlapping;
    return contradictory() ? kContradiction : kNoRule;
  }

  int counts(bool on) {
    const tn::PumpRules &rules = it_.rules;
    if (on && !on_) {
      stretch_ms_ = 0;
      widest_ms_ = step_ms_;
      changed_ms_ = at_ms_;
      off_seen_ = false;
      const bool rising = is_goal(eyes_[tn::on_mark(rules)].wet);
      fresh_ = plain_ && !rising && left_ms_ != 0 && at_ms_ - left_ms_ <= 1000ull * rules.shortest_off_s;
      plain_ = false;
    }
    if (!on) return kNoRule;
    const uint64_t more = static_cast<uint64_t>(cycles_ > 7 ? 7 : cycles_);
    const uint64_t longest_ms = 1000ull * rules.longest_run_s, still_ms = 1000ull * rules.no_rise_s;
    if (longest_ms != 0 && on_for_ms_ > (1 + more) * longest_ms + slack_ms_ + widest_ms_) return kLongest;
    if (still_ms != 0 && at_ms_ - changed_ms_ > still_ms + long_ms() + widest_ms_) return kStill;
    if (still_ms != 0 && stretch_ms_ > (1u + it_.marks) * (still_ms + widest_ms_)) return kStill;
    for (uint8_t i = 0; i < it_.marks; ++i)
      if (eyes_[i].since_ms + step_ms_ > at_ms_ - stretch_ms_ && is_goal(eyes_[i].wet)) fresh_ = false;
    return fresh_ && still_ms != 0 && rules.first_rise_s != 0 && stretch_ms_ > 1000ull * rules.first_rise_s + widest_ms_ ? kFirstRise : kNoRule;
  }

  int faults(bool on, tn::TankFault fault) {
    const bool stays = fault == tn::TankFault::kLongestRun || fault == tn::TankFault::kNoRise;
    if (told_ != tn::TankFault::kNone) return fault != told_ || on ? kStays : kNoRule;
    if (fault == tn::TankFault::kFlapping) return on || at_ms_ - off_ms_ < 600000 || all_steady() ? kPasses : kNoRule;
    if (!stays) return kNoRule;
    told_ = fault;
    if (on) return kStays;
    const tn::PumpRules &rules = it_.rules;
    const bool first = rules.first_rise_s != 0 && rules.first_rise_s < rules.no_rise_s;
    const uint32_t least_s = fault == tn::TankFault::kLongestRun ? rules.longest_run_s : first ? rules.first_rise_s : rules.no_rise_s;
    return least_s == 0 || plain_on_ms_ < 1000ull * least_s ? kReason : kNoRule;
  }

  int runs(bool on, tn::TankFault fault) const {
    if (on || fault != tn::TankFault::kNone || !all_steady() || at_ms_ < rest_until_ms_) return kNoRule;
    const bool held = at_ms_ - begun_ms_ < 1000ull * it_.rules.power_up_hold_s;
    if (held || at_ms_ - off_ms_ < 1000ull * it_.rules.shortest_off_s) return kNoRule;
    return holds_go(tn::on_mark(it_.rules)) && holds_go(tn::off_mark(it_.rules)) ? kRuns : kNoRule;
  }
};

inline const char *rule_name(int rule) {
  static const char *const names[] = {"none", "off-anyway", "short-off", "goal", "flapping", "contradiction", "longest", "still",
                                      "first-rise", "stays", "reason", "passes", "runs"};
  return names[rule];
}

#endif
