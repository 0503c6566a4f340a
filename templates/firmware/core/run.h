// The run of a pump, counted across everything that stops the pump for a while: rests, updates, faults that pass, restarts.
//
// Rules (docs/node-interface.md, section 8, has them for readers; tests/firmware/pump_model.h holds the core to them):
// 1. A run is under way from a start of the pump until its goal is reached or a person clears the fault that ended it.
//    The goal is the off mark believed on the goal's side (wet for fill, dry for drain) with no contradiction; or flapping,
//    when every mark from the on mark to it is believed on that side.
// 2. Time on counts as long as the run is under way. So does the time since a mark last moved towards the goal; a mark moves
//    when it is believed there or flaps, once a run, and what it gave is taken back if it is then believed on the other side.
// 3. A mark that was believed on the goal's side, and is on the other while the pump is off, shows that the tank was filled
//    and drained again: the run begins anew, kBegunAnew times at most. A mark that went so while the pump was on is doubted
//    and shows nothing for the rest of the run.
// 4. Water may drain unseen during an interruption: the first kWatchedAnew starts after one begin the watch, not the run, anew.
// 5. A run that began as the level left the on mark has to bring it back within the first-rise time.
#ifndef TN_RUN_H
#define TN_RUN_H

#include <stdint.h>

#include "node_block.h"
#include "tank.h"

namespace tn {

constexpr uint8_t kBegunAnew = 7;
constexpr uint8_t kWatchedAnew = 2;

struct PumpRules {
  PumpDoes does;
  uint8_t low_mark;
  uint8_t high_mark;
  uint32_t longest_run_s;  // 0: no bound
  uint32_t no_rise_s;      // 0: no watch, of the first rise neither
  uint32_t first_rise_s;   // 0: the no-rise time counts from the start on
  uint32_t shortest_off_s;
  uint32_t power_up_hold_s;
};

struct Run {
  bool under_way;
  bool from_mark;            // rule 5 counts still
  bool stopped_by_flapping;  // of the off mark
  uint8_t begun_anew;
  uint8_t watched_anew;
  uint8_t fed_marks;      // have fed the watch
  uint8_t reached_marks;  // have been believed on the goal's side
  uint8_t doubted_marks;
  uint8_t last_fed;   // the marks that fed last, and what they gave
  bool gave_from_mark;
  uint64_t gave_ms;
  uint64_t on_ms;
  uint64_t still_ms;  // of it, since a mark last moved towards the goal
};

enum class RunEnd : uint8_t { kNone, kLongest, kStill };

// A start of the pump. `from_mark`: the level has just left the on mark.
void run_start(Run *run, const PumpRules &rules, const Level &level, bool from_mark);
// What the marks say, with the pump on or off since the last look.
void run_look(Run *run, const PumpRules &rules, const Level &level, bool on);
// Whether the run has lasted too long, or been still for too long.
RunEnd run_end(const Run &run, const PumpRules &rules);

uint8_t marks_at_goal(const PumpRules &rules, const Level &level);
uint8_t marks_against(const PumpRules &rules, const Level &level);
inline uint8_t on_mark(const PumpRules &rules) { return rules.does == PumpDoes::kFill ? rules.low_mark : rules.high_mark; }
inline uint8_t off_mark(const PumpRules &rules) { return rules.does == PumpDoes::kFill ? rules.high_mark : rules.low_mark; }

// What of a run, besides its times, outlives a restart: in the lowest kRunNoteBits bits.
constexpr unsigned kRunNoteBits = 13;
constexpr unsigned kRunMarkBits = 8;  // the lowest of them: marks that came towards the goal, and those that are doubted
uint16_t run_notes(const Run &run);
Run run_from(uint16_t notes, uint64_t on_ms, uint64_t still_ms);

}  // namespace tn

#endif
