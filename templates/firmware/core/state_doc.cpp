#include "state_doc.h"

namespace tn {

namespace {

void key(Text *t, const char *name) {
  put(t, ",\"");
  put(t, name);
  put(t, "\":");
}

void text_field(Text *t, const char *name, const char *value) {
  key(t, name);
  if (value == nullptr) {
    put(t, "null");
  } else {
    put_json_string(t, value);
  }
}

void number_field(Text *t, const char *name, uint64_t value) {
  key(t, name);
  put_u64(t, value);
}

void digest_field(Text *t, const char *name, const uint8_t *sha256) {
  key(t, name);
  if (sha256 == nullptr) {
    put(t, "null");
    return;
  }
  put_char(t, '"');
  put_hex(t, sha256, 32);
  put_char(t, '"');
}

void put_who(Text *t, const NodeView &view) {
  const bool bad = (view.faults & kFaultBadBlock) != 0;
  put(t, "{\"v\":1");
  text_field(t, "node", view.node);
  text_field(t, "site", bad ? "" : view.block->site);
  text_field(t, "board", bad ? "" : view.block->board);
  key(t, "mac");
  put_char(t, '"');
  put_mac(t, view.mac);
  put_char(t, '"');
  key(t, "class");
  put_char(t, '"');
  put_uuid(t, view.block->class_id);
  put_char(t, '"');
  text_field(t, "release", bad ? "" : view.block->release);
}

// Without a record the node does not know what it runs.
constexpr uint8_t kNoImage[32] = {};

void put_images(Text *t, const NodeView &view) {
  const SlotFacts &slots = view.slots;
  digest_field(t, "image", slots.image == nullptr ? kNoImage : slots.image);
  number_field(t, "sequence", slots.sequence);
  number_field(t, "floor", slots.floor);
  text_field(t, "phase", phase_text(slots.phase));
  number_field(t, "trial_left_s", (view.trial_left_ms + 999u) / 1000u);
  digest_field(t, "older_image", slots.older_image);
  digest_field(t, "last_image", slots.last_image);
  text_field(t, "last_reason", slots.last_image == nullptr ? nullptr : reason_text(slots.last_reason));
  number_field(t, "boots", slots.boots);
  number_field(t, "brown_outs", slots.brown_outs);
}

void put_access_point(Text *t, const NetworkFacts &network) {
  key(t, "bssid");
  if (!network.has_access_point) {
    put(t, "null,\"channel\":null");
    return;
  }
  put_char(t, '"');
  put_mac(t, network.bssid);
  put_char(t, '"');
  number_field(t, "channel", network.channel);
}

void put_network(Text *t, const NetworkFacts &network) {
  key(t, "network");
  put(t, "{\"phase\":");
  put_json_string(t, network_phase_text(network.phase));
  text_field(t, "on", !network.joined ? nullptr : network.on == Which::kNew ? "new" : "kept");
  number_field(t, "trial_left_s", (network.left_ms + 999u) / 1000u);
  put_access_point(t, network);
  put_char(t, '}');
}

void put_health(Text *t, const NodeView &view) {
  text_field(t, "reset", reset_text(view.reset));
  number_field(t, "uptime_s", view.uptime_ms / 1000u);
  number_field(t, "free_bytes", view.free_bytes);
  key(t, "largest_block");
  if (view.has_largest_block) {
    put_u64(t, view.largest_block_bytes);
  } else {
    put(t, "null");
  }
  key(t, "rssi_dbm");
  if (view.has_rssi) {
    put_i32(t, view.rssi_dbm);
  } else {
    put(t, "null");
  }
  put_network(t, view.network);
  text_field(t, "nonce", view.nonce);
  key(t, "block_crc");
  put_char(t, '"');
  put_crc(t, view.block->crc32);
  put_char(t, '"');
  key(t, "faults");
  put_char(t, '[');
  bool first = true;
  for (const uint8_t fault : kNodeFaults) {
    if ((view.faults & fault) == 0) continue;
    if (!first) put_char(t, ',');
    put_json_string(t, node_fault_text(static_cast<NodeFault>(fault)));
    first = false;
  }
  put_char(t, ']');
}

void put_pump(Text *t, const TankControl &tank, uint64_t at_ms) {
  if (tank.rules.does == PumpDoes::kNone) {
    put(t, "null");
    return;
  }
  put(t, "{\"does\":");
  put_json_string(t, pump_does_text(tank.rules.does));
  text_field(t, "relay", tank.pump.on ? "on" : "off");
  text_field(t, "why", pump_why_text(tank.pump.why));
  number_field(t, "run_s", pump_this_run_ms(tank.pump, at_ms) / 1000u);
  number_field(t, "starts", tank.pump.starts);
  put_char(t, '}');
}

void put_tank(Text *t, const TankBlock &block, const TankControl &tank, uint64_t at_ms) {
  put(t, "{\"name\":");
  put_json_string(t, block.name);
  key(t, "marks");
  put_char(t, '[');
  for (size_t i = 0; i < block.mark_count; ++i) {
    put(t, i == 0 ? "{\"name\":" : ",{\"name\":");
    put_json_string(t, block.marks[i].name);
    number_field(t, "height_mm", block.marks[i].height_mm);
    text_field(t, "state", probe_state_text(tank.probes[i].state));
    put_char(t, '}');
  }
  put_char(t, ']');
  key(t, "level");
  if (tank.level.level == kLevelUnknown) {
    put(t, "null");
  } else {
    put_i32(t, tank.level.level);
  }
  text_field(t, "fault", tank_fault_text(tank_fault(tank.level, tank.pump)));
  key(t, "pump");
  put_pump(t, tank, at_ms);
  put_char(t, '}');
}

}  // namespace

void put_state(Text *t, const NodeView &view) {
  put_who(t, view);
  put_images(t, view);
  put_health(t, view);
  key(t, "tanks");
  put_char(t, '[');
  const size_t count = (view.faults & kFaultBadBlock) != 0 ? 0 : view.block->tank_count;
  for (size_t i = 0; i < count; ++i) {
    if (i > 0) put_char(t, ',');
    put_tank(t, view.block->tanks[i], view.control->tanks[i], view.control->at_ms);
  }
  put(t, "]}\n");
}

}  // namespace tn
