#include "node.h"

#include <string.h>

#include "node_block_check.h"

namespace tn {

bool Node::begin(const Port *port, const NodeBlock *block, const Partition *partition, uint8_t area) {
  port_ = port;
  block_ = block;
  name_ = name_in_block(*block);
  partition_ = partition;
  faults_ = 0;
  // First of all, and before anything that could fail: every pump relay off.
  const bool has_pins = port->has_pin == nullptr || every_pin(*block, port->has_pin, port->ctx);
  set_fault(kFaultBadBlock, check_node_block(*block) != BlockFault::kNone || !has_pins);
  if (!has(kFaultBadBlock)) control_begin(&control_, block, port);
  begin_runs();
  now_ms_ = port->now_ms(port->ctx);
  begun_ms_ = network_since_ms_ = way_back_at_ms_ = now_ms_;
  network_was_up_ = healthy_ = restart_wanted_ = restarted_ = false;
  crowded_handle_ = kNoHandle;
  restart_at_ms_ = crowded_ms_ = 0;
  requests_ = refusals_ = 0;
  for (Connection &c : connections_) c.at = At::kFree;
  for (LongAnswer &room : rooms_) room.used = false;
  set_fault(kFaultNoKey, !credentials_.begin(port->flash, partition));
  open_slots(area);
  new_nonces();
  join_begin(&join_, has(kFaultBadBlock) ? 0 : block->network_lost_s, now_ms_);
  network_trial_none(&network_trial_);
  if (credentials_.phase() == NetworkPhase::kOnTrial) {
    network_trial_resume(&network_trial_, credentials_.trial_s(), now_ms_);
    join_steady(&join_, true);
  }
  console_begin(&console_);
  return faults_ == 0;
}

bool Node::step() {
  if (restarted_) return false;
  now_ms_ = port_->now_ms(port_->ctx);
  port_->feed_watchdog(port_->ctx);
  step_control();
  turn_nonces();
  step_network();
  step_health();
  step_trial();
  bool more = false;
  if (network_was_up_) {
    take_connections();
    step_crowded();
    for (size_t i = 0; i < kConnections; ++i) more = step_connection(i) || more;
  }
  step_console();
  step_restart();
  return more && !restarted_;
}

bool Node::updating() const { return restart_wanted_ || (!has(kFaultNoRecord) && slots_.updating()); }

void Node::set_fault(NodeFault fault, bool on) {
  faults_ = static_cast<uint8_t>(on ? faults_ | fault : faults_ & ~static_cast<unsigned>(fault));
}

void Node::open_slots(uint8_t area) {
  slots_.begin(port_->flash, partition_, port_->crypto);
  // ESP32 family: the boot loader may have started another image than the trial record asks for.
  restart_wanted_ = partition_->otadata.bytes != 0 && slots_.arrive(area, port_->reset_reason(port_->ctx)) == Arrival::kRestart;
  restart_at_ms_ = now_ms_;
  set_fault(kFaultNoRecord, !slots_.open(area));
  image16_[0] = '\0';
  if (has(kFaultNoRecord)) return;
  if (port_->spare_supply != nullptr && slots_.weak_supply()) port_->spare_supply(port_->ctx);
  Text t = text_into(image16_, sizeof image16_ - 1);
  put_hex(&t, slots_.facts().image, 8);
  image16_[t.n] = '\0';
}

// One was used, or the node has just started.
void Node::new_nonces() {
  uint8_t random[16];
  port_->random(port_->ctx, random, sizeof random);
  nonces_begin(&nonces_, random, now_ms_);
}

void Node::turn_nonces() {
  if (!nonces_due(nonces_, now_ms_)) return;
  uint8_t random[16];
  port_->random(port_->ctx, random, sizeof random);
  nonces_turn(&nonces_, random, now_ms_);
}

void Node::step_control() {
  if (has(kFaultBadBlock)) return;
  control_step(&control_, updating());
  note_runs(false);
  step_button();
}

void Node::step_network() {
  const bool up = port_->network_up(port_->ctx);
  step_radio(up);
  if (up == network_was_up_) return;
  network_was_up_ = up;
  network_since_ms_ = now_ms_;
  if (up) {
    announce();
  } else {
    drop_all();
  }
}

void Node::step_radio(bool up) {
  step_network_trial(up);
  if (network_trial_.leaving) return;
  const JoinWork work = join_step(&join_, up, now_ms_);
  if (work == JoinWork::kNothing || has(kFaultNoKey)) return;
  if (work == JoinWork::kBegin) call_network();
  else port_->join(port_->ctx, nullptr, nullptr);
}

void Node::step_network_trial(bool up) {
  const TrialWork work = network_trial_step(&network_trial_, up, now_ms_);
  if (work == TrialWork::kLeave) leave_network();
  if (work == TrialWork::kOver) end_network_trial(up);
}

void Node::leave_network() {
  port_->join(port_->ctx, nullptr, nullptr);
  join_at_once(&join_, now_ms_);
}

// The texts are on the stack for this call alone: every port copies them.
void Node::call_network() {
  Network network;
  if (!credentials_.network(network_trial_call(&network_trial_), &network)) return;
  port_->join(port_->ctx, network.name, network.passphrase);
  wipe(&network, sizeof network);
}

void Node::end_network_trial(bool up) {
  const Code code = credentials_.put_back();
  set_fault(kFaultFlash, code != Code::kOk);
  if (code != Code::kOk) return network_trial_unwritten(&network_trial_, now_ms_);
  const bool stays = network_trial_joined(network_trial_, Which::kKept, up);
  network_trial_end(&network_trial_, !stays && up);
  join_steady(&join_, false);
  if (!stays) leave_network();
}

void Node::step_console() {
  if (port_->console_read == nullptr) return;
  if (!restart_wanted_) run_command(console_listen(&console_, *port_));
  if (!console_has_more(console_)) return;
  NodeView seen;
  view(&seen);
  Network names[2] = {};
  if (!has(kFaultNoKey)) {
    credentials_.network(Which::kKept, &names[0]);
    credentials_.network(Which::kNew, &names[1]);
  }
  const NetworkView network{names[0].name, names[1].name, join_.state, now_ms_ - join_.since_ms, join_.lost_after_s};
  console_print(&console_, *port_, seen, network);
}

// What a person at the board asks for. Going back is the same step as over the network, and has the same limits.
void Node::run_command(Asked asked) {
  if (asked == Asked::kNothing) return;
  if (asked == Asked::kClear) {
    const Code code = clear_faults();
    return console_say(&console_, code == Code::kOk ? "cleared" : title_of(code));
  }
  if (asked == Asked::kJoin) {
    if (network_was_up_) return console_say(&console_, "joined already");
    join_at_once(&join_, now_ms_);
    return console_say(&console_, "looking for the network");
  }
  if (updating()) return console_say(&console_, "an image is being taken: try again in a minute");
  if (asked == Asked::kBack) {
    const Code code = has(kFaultNoRecord) ? Code::kNoOlderImage : slots_.put_back(Reason::kTold);
    set_fault(kFaultFlash, code == Code::kFlashFailed);
    if (code != Code::kOk) return console_say(&console_, title_of(code));
  }
  console_say(&console_, asked == Asked::kBack ? "going back to the older image" : "starting again");
  want_restart();
}

// A healthy loop: control has run and the network was up, without a break, for kHealthyAfterMs.
void Node::step_health() {
  if (healthy_ || !network_was_up_ || has(kFaultBadBlock) || has(kFaultNoRecord)) return;
  if (now_ms_ - network_since_ms_ < kHealthyAfterMs) return;
  healthy_ = true;
  set_fault(kFaultFlash, slots_.mark_healthy() != Code::kOk);
}

uint64_t Node::trial_left_ms() const {
  if (has(kFaultNoRecord) || slots_.facts().phase != Phase::kOnTrial) return 0;
  const uint16_t trial_s = has(kFaultBadBlock) ? kTrialSecondsWithoutBlock : block_->trial_s;
  const uint64_t trial_ms = static_cast<uint64_t>(trial_s) * 1000u;
  const uint64_t passed_ms = now_ms_ - begun_ms_;
  return passed_ms < trial_ms ? trial_ms - passed_ms : 0;
}

void Node::step_trial() {
  if (has(kFaultNoRecord) || restart_wanted_ || slots_.facts().phase != Phase::kOnTrial) return;
  if (trial_left_ms() != 0 || now_ms_ < way_back_at_ms_) return;
  const Code code = slots_.put_back(Reason::kTrialOver);
  set_fault(kFaultNoWayBack, code != Code::kOk);
  if (code == Code::kOk) {
    want_restart();
    restart_at_ms_ = now_ms_;
  } else {
    way_back_at_ms_ = now_ms_ + kWayBackAgainMs;
  }
}

void Node::want_restart() {
  restart_wanted_ = true;
  restart_at_ms_ = look_at_clock() + kRestartWithinMs;
}

void Node::step_restart() {
  if (!restart_wanted_ || now_ms_ < restart_at_ms_) return;
  if (!has(kFaultBadBlock)) {
    control_all_off(&control_);
    note_runs(true);
  }
  drop_all();
  port_->goodbye(port_->ctx);
  restarted_ = true;
  port_->restart(port_->ctx);
}

void Node::announce() {
  if (name_[0] == '\0' || !network_was_up_) return;
  const bool bad = has(kFaultBadBlock);
  const Phase phase = has(kFaultNoRecord) ? Phase::kKept : slots_.facts().phase;
  const Announcement what{name_, bad ? "" : block_->release, image16_, bad ? "" : block_->board, phase_text(phase)};
  port_->announce(port_->ctx, &what);
}

NetworkFacts Node::network_facts() const {
  const Which on = network_trial_.calling;
  NetworkFacts facts{credentials_.phase(), network_trial_joined(network_trial_, on, network_was_up_) && credentials_.has_name(on), on,
                     network_trial_left_ms(network_trial_, now_ms_), false, {}, 0};
  facts.has_access_point = port_->access_point != nullptr && port_->access_point(port_->ctx, facts.bssid, &facts.channel);
  return facts;
}

void Node::view(NodeView *to) const {
  to->node = name_;
  to->block = block_;
  to->control = &control_;
  to->slots = has(kFaultNoRecord) ? SlotFacts{} : slots_.facts();
  to->network = network_facts();
  to->faults = faults_;
  port_->mac(port_->ctx, to->mac);
  to->reset = port_->reset_reason(port_->ctx);
  to->has_rssi = port_->rssi_dbm(port_->ctx, &to->rssi_dbm);
  to->uptime_ms = now_ms_ - begun_ms_;
  to->trial_left_ms = trial_left_ms();
  to->free_bytes = port_->free_bytes(port_->ctx);
  to->has_largest_block = port_->largest_block != nullptr;
  to->largest_block_bytes = to->has_largest_block ? port_->largest_block(port_->ctx) : 0;
  to->requests = requests_;
  to->refusals = refusals_;
  to->nonce = nonces_.present;
}

}  // namespace tn
