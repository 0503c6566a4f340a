// The longest pages that a board's pins can make, against the room that its project gives them (-DTN_ANSWER_BYTES).
// Argument: how many pins the board has for probes and pump relays.
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "core/connection.h"
#include "core/metrics.h"
#include "core/state_doc.h"
#include "sample_block.h"

namespace {

tn::NodeBlock block;
tn::Control control;
uint8_t digest[32];
char room[tn::kAnswerBytes - tn::kAnswerHeadBytes];

tn::NodeView view() {
  tn::NodeView v;
  memset(&v, 0, sizeof v);
  v.node = block.node;
  v.block = &block;
  v.control = &control;
  v.slots = tn::SlotFacts{tn::Phase::kOnTrial, digest, 500000, INT64_MAX, INT64_MAX, digest, digest, tn::Reason::kNoHealthyBoot,
                          UINT32_MAX};
  v.faults = static_cast<uint8_t>(0x1F & ~tn::kFaultBadBlock);
  v.has_rssi = true;
  v.rssi_dbm = -100;
  v.uptime_ms = v.trial_left_ms = INT64_MAX;
  v.free_bytes = v.requests = v.refusals = UINT32_MAX;
  v.nonce = "AAAAAAAAAAAAAAAAAAAAAA";
  return v;
}

// Pumps on the first `pumps` tanks, which need two marks each; the other tanks have one at least; what is left of the pins goes to
// marks, tank by tank.
bool share_out(size_t pins, size_t tanks, size_t pumps) {
  if (2 * pumps + pumps + (tanks - pumps) > pins) return false;
  block = largest_block();
  block.tank_count = static_cast<uint8_t>(tanks);
  size_t left = pins - (2 * pumps + pumps + (tanks - pumps));
  for (size_t i = 0; i < tanks; ++i) {
    tn::TankBlock &tank = block.tanks[i];
    tank.mark_count = i < pumps ? 2 : 1;
    if (i >= pumps) tank.pump_does = static_cast<uint8_t>(tn::PumpDoes::kNone);
    for (; left > 0 && tank.mark_count < tn::kMarksPerTank; --left) ++tank.mark_count;
    tn::TankControl &state = control.tanks[i];
    for (tn::Probe &probe : state.probes) {
      tn::probe_begin(&probe);
      probe.state = tn::ProbeState::kWet;
    }
    state.level = tn::level_from(state.probes, tank.mark_count);
    state.rules = tn::pump_rules(tank, block.power_up_hold_s);
    tn::pump_begin(&state.pump, 0);
    state.pump.run_ms = UINT64_MAX / 2;
    state.pump.starts = UINT32_MAX;
  }
  return true;
}

}  // namespace

int main(int count, char **arguments) {
  CHECK(count == 2);
  const size_t pins = count == 2 ? strtoul(arguments[1], nullptr, 10) : 0;
  size_t longest = 0;
  for (size_t tanks = 1; tanks <= tn::kTanksPerNode; ++tanks) {
    for (size_t pumps = 0; pumps <= tanks; ++pumps) {
      if (!share_out(pins, tanks, pumps)) continue;
      const tn::NodeView v = view();
      tn::Text state = tn::text_into(room, sizeof room);
      tn::put_state(&state, v);
      CHECK(!state.over);
      tn::Text metrics = tn::text_into(room, sizeof room);
      tn::put_metrics(&metrics, v);
      CHECK(!metrics.over);
      longest = metrics.n > longest ? metrics.n : longest;
      longest = state.n > longest ? state.n : longest;
    }
  }
  CHECK(longest > 0);
  printf("longest page %zu of %zu bytes\n", longest, sizeof room);
  return check_result();
}
