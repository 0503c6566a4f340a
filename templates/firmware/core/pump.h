// The pump of one tank: hysteresis between a low and a high mark, and everything that keeps it off.
//
// Every time here is process time. Whatever is not surely fine leaves the pump relay off: start of the node, a level that is
// not known, contradictory marks, a run that is too long, a run that changes nothing. Those last two hold until a
// person clears them, for both mean that a person should look (dry well, burst pipe, stuck probe).
#ifndef TN_PUMP_H
#define TN_PUMP_H

#include <stdint.h>

#include "node_block.h"
#include "tank.h"

namespace tn {

constexpr uint32_t kRestMs = 600u * 1000u;

enum class TankFault : uint8_t { kNone = 0, kContradictory = 1, kLongestRun = 2, kNoRise = 3, kFlapping = 4 };

enum class PumpWhy : uint8_t {
  kBelowLow = 0,
  kAboveHigh,
  kBetween,
  kFault,
  kPowerUpHold,
  kShortestOff,
  kResting,
  kUnknownLevel,
  kUpdating
};

struct PumpRules {
  PumpDoes does;
  uint8_t low_mark;
  uint8_t high_mark;
  uint32_t longest_run_s;  // 0: no bound
  uint32_t no_rise_s;      // 0: no watch
  uint32_t shortest_off_s;
  uint32_t power_up_hold_s;
};

struct Pump {
  bool on;
  PumpWhy why;
  TankFault latched;      // kLongestRun or kNoRise until restart or rest
  uint8_t watched_marks;  // the wet marks at the last look, for the no-rise watch
  uint32_t starts;        // since the node started
  uint64_t begun_ms;      // when the node started
  uint64_t on_since_ms;
  uint64_t off_since_ms;  // at first the node's start: the pump may have run right up to it
  uint64_t progress_ms;   // when a mark last changed towards the goal
  uint64_t rest_until_ms;  // 0: not resting
  uint64_t run_ms;         // of all finished runs
};

PumpRules pump_rules(const TankBlock &tank, uint16_t power_up_hold_s);
void pump_begin(Pump *pump, uint64_t at_ms);

// Decides anew; afterwards `on` is what the pump relay must be. `updating`: an image is being taken or a restart awaited.
void pump_step(Pump *pump, const PumpRules &rules, const Level &level, bool updating, uint64_t at_ms);

// What outlives a restart: a fault that is latched, and the run that was under way (both times 0 without one).
struct PumpCarry {
  TankFault latched;  // kNone, kLongestRun or kNoRise
  uint32_t run_s;     // so far, earlier starts of the node included
  uint32_t still_s;   // of it, since a mark last changed towards the goal
};
PumpCarry pump_carry(const Pump &pump, uint64_t at_ms);
void pump_resume(Pump *pump, const PumpCarry &carry);  // right after pump_begin()

// A person has looked: forgets the latched fault and the run that led to it. False: nothing is latched.
bool pump_clear(Pump *pump);

// Off for kRestMs.
void pump_rest(Pump *pump, uint64_t at_ms);

TankFault tank_fault(const Level &level, const Pump &pump);
uint64_t pump_this_run_ms(const Pump &pump, uint64_t at_ms);  // 0 while off
const char *tank_fault_text(TankFault fault);
const char *pump_why_text(PumpWhy why);
const char *pump_does_text(PumpDoes does);

}  // namespace tn

#endif
