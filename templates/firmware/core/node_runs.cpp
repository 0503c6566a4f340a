// The part of Node that keeps the record of runs, and lets a person clear the faults that stay: by a signed request, a word at the
// console, or the button. Nothing else clears them: no restart, no update, no failing supply.
#include "node.h"

namespace tn {

// Before the first step, so that no pump relay goes on that a fault keeps off. A damaged block names no tanks to find in it.
void Node::begin_runs() {
  clear_button_begin(&button_, port_->now_ms(port_->ctx));
  if (has(kFaultBadBlock)) return;
  set_fault(kFaultNoRunRecord, !runs_.begin(port_->flash, partition_->runs, *block_));
  for (size_t i = 0; i < block_->tank_count; ++i) pump_resume(&control_.tanks[i].pump, runs_.carried(i));
}

Noted Node::note_runs(bool leaving) {
  PumpCarry now[kTanksPerNode] = {};
  for (size_t i = 0; i < block_->tank_count; ++i) now[i] = pump_carry(control_.tanks[i].pump, control_.at_ms);
  const Noted noted = runs_.note(now, control_.at_ms, leaving);
  if (noted != Noted::kNothing) set_fault(kFaultFlash, noted == Noted::kFailed);
  return noted;
}

void Node::step_button() {
  if (block_->clear_pin == kNoPin || now_ms_ < button_.next_ms) return;
  button_.next_ms = now_ms_ + block_->sample_period_ms;
  const bool low = port_->probe_is_low(port_->ctx, block_->clear_pin, static_cast<uint8_t>(Pull::kInternalUp));
  if (clear_button_look(&button_, low, now_ms_)) clear_faults();
}

// What could not be written is cleared all the same, but comes back with the next start: kFlashFailed says so.
Code Node::clear_fault(size_t tank) {
  if (!pump_clear(&control_.tanks[tank].pump)) return Code::kNoFault;
  return note_runs(false) == Noted::kFailed ? Code::kFlashFailed : Code::kOk;
}

Code Node::clear_faults() {
  bool any = false;
  for (size_t i = 0; !has(kFaultBadBlock) && i < block_->tank_count; ++i) any = pump_clear(&control_.tanks[i].pump) || any;
  if (!any) return Code::kNoFault;
  return note_runs(false) == Noted::kFailed ? Code::kFlashFailed : Code::kOk;
}

Code Node::clear_brown_outs() {
  const Code code = has(kFaultNoRecord) ? Code::kNoFault : slots_.clear_brown_outs();
  if (code != Code::kNoFault) set_fault(kFaultFlash, code == Code::kFlashFailed);
  return code;
}

}  // namespace tn
