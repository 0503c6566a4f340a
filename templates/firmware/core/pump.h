// The pump of one tank: hysteresis between a low and a high mark, and everything that keeps it off.
//
// Every time here is process time. Whatever is not surely fine leaves the pump relay off: start of the node, a level that is
// not known, contradictory marks, a mark that flaps for long, a run that is too long, a run that changes nothing. Those last
// two hold until a person clears them, for both mean that a person should look (dry well, burst pipe, stuck probe).
// A flapping mark counts as the state that stops the pump: wet for fill, dry for drain. Runs: see run.h.
#ifndef TN_PUMP_H
#define TN_PUMP_H

#include <stdint.h>

#include "node_block.h"
#include "run.h"
#include "tank.h"

namespace tn {

constexpr uint32_t kRestMs = 600u * 1000u;
constexpr uint32_t kFlappingFaultMs = 600u * 1000u;  // of one mark, with the pump off all the while: a running one stirs

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

struct Pump {
  bool on;
  PumpWhy why;
  TankFault latched;       // kLongestRun or kNoRise until a person clears it
  bool on_mark_held;       // the on mark was last believed on the goal's side
  bool on_mark_left;       // since the node started it has left that side,
  uint64_t left_ms;        // last at this time
  uint8_t flapping_marks;  // one of these has flapped all the time since flapping_ms, with the pump off
  bool flaps_long;
  uint64_t flapping_ms;
  uint32_t starts;         // since the node started
  uint64_t begun_ms;       // when the node started
  uint64_t off_since_ms;   // at first the node's start: the pump may have run right up to it
  uint64_t rest_until_ms;  // 0: not resting
  uint64_t run_ms;         // time on since the node started
  uint64_t at_ms;          // of the last step
  Run run;
};

PumpRules pump_rules(const TankBlock &tank, uint16_t power_up_hold_s);
void pump_begin(Pump *pump, uint64_t at_ms);

// Decides anew; afterwards `on` is what the pump relay must be. `updating`: an image is being taken or a restart awaited.
void pump_step(Pump *pump, const PumpRules &rules, const Level &level, bool updating, uint64_t at_ms);

// What outlives a restart: a fault that is latched, and the run that was under way (all 0 without one).
struct PumpCarry {
  TankFault latched;  // kNone, kLongestRun or kNoRise
  uint32_t run_s;     // so far, earlier starts of the node included
  uint32_t still_s;   // of it, since a mark last changed towards the goal
  uint16_t notes;     // of its marks and interruptions: run_notes()
};
PumpCarry pump_carry(const Pump &pump, uint64_t at_ms);
void pump_resume(Pump *pump, const PumpCarry &carry);  // right after pump_begin()

// A person has looked: forgets the latched fault and the run that led to it; the shortest off time goes on. False: nothing is
// latched, and nothing is forgotten.
bool pump_clear(Pump *pump);

// Off for kRestMs; faults and the run stay.
void pump_rest(Pump *pump, uint64_t at_ms);

TankFault tank_fault(const Level &level, const Pump &pump);
uint64_t pump_this_run_ms(const Pump &pump, uint64_t at_ms);  // with what it ran before an interruption; 0 while off
const char *tank_fault_text(TankFault fault);
const char *pump_why_text(PumpWhy why);
const char *pump_does_text(PumpDoes does);

}  // namespace tn

#endif
