#include "metrics.h"

namespace tn {

namespace {

constexpr Phase kPhases[] = {Phase::kKept, Phase::kOnTrial, Phase::kPutBack};
constexpr NetworkPhase kNetworkPhases[] = {NetworkPhase::kKept, NetworkPhase::kOnTrial, NetworkPhase::kPutBack};
constexpr TankFault kTankFaults[] = {TankFault::kContradictory, TankFault::kLongestRun, TankFault::kNoRise,
                                     TankFault::kFlapping};

void family(Text *t, const char *name, const char *type, const char *unit, const char *help) {
  put(t, "# TYPE tanknode_");
  put(t, name);
  put_char(t, ' ');
  put(t, type);
  if (unit != nullptr) {
    put(t, "\n# UNIT tanknode_");
    put(t, name);
    put_char(t, ' ');
    put(t, unit);
  }
  put(t, "\n# HELP tanknode_");
  put(t, name);
  put_char(t, ' ');
  put(t, help);
  put_char(t, '\n');
}

void name(Text *t, const char *metric) {
  put(t, "tanknode_");
  put(t, metric);
}

// Label values here need no escaping: the node block's texts hold neither quotes, backslashes nor line feeds.
void label(Text *t, const char *before, const char *key, const char *value) {
  put(t, before);
  put(t, key);
  put(t, "=\"");
  put(t, value);
  put_char(t, '"');
}

void number(Text *t, const char *metric, uint64_t value) {
  name(t, metric);
  put_char(t, ' ');
  put_u64(t, value);
  put_char(t, '\n');
}

void put_image_info(Text *t, const NodeView &view) {
  const bool bad = (view.faults & kFaultBadBlock) != 0;
  family(t, "image", "info", nullptr, "The running image");
  name(t, "image_info");
  label(t, "{", "node", view.node);
  label(t, ",", "site", bad ? "" : view.block->site);
  label(t, ",", "board", bad ? "" : view.block->board);
  label(t, ",", "release", bad ? "" : view.block->release);
  put(t, ",sha256=\"");
  if (view.slots.image != nullptr) put_hex(t, view.slots.image, 32);
  put(t, "\"} 1\n");
}

void put_phase(Text *t, Phase phase) {
  family(t, "phase", "stateset", nullptr, "Phase of the running image");
  for (const Phase each : kPhases) {
    name(t, "phase");
    label(t, "{", "tanknode_phase", phase_text(each));
    put(t, each == phase ? "} 1\n" : "} 0\n");
  }
}

void put_network_phase(Text *t, NetworkPhase phase) {
  family(t, "network_phase", "stateset", nullptr, "Phase of the network credentials");
  for (const NetworkPhase each : kNetworkPhases) {
    name(t, "network_phase");
    label(t, "{", "tanknode_network_phase", network_phase_text(each));
    put(t, each == phase ? "} 1\n" : "} 0\n");
  }
}

void put_node_faults(Text *t, uint8_t faults) {
  family(t, "node_fault", "stateset", nullptr, "What is wrong with the node itself");
  for (const uint8_t fault : kNodeFaults) {
    name(t, "node_fault");
    label(t, "{", "tanknode_node_fault", node_fault_text(static_cast<NodeFault>(fault)));
    put(t, (faults & fault) != 0 ? "} 1\n" : "} 0\n");
  }
}

void put_node(Text *t, const NodeView &view) {
  put_image_info(t, view);
  put_phase(t, view.slots.phase);
  put_network_phase(t, view.network.phase);
  put_node_faults(t, view.faults);
  family(t, "trial_left_seconds", "gauge", "seconds", "Until the node falls back by itself");
  name(t, "trial_left_seconds ");
  put_seconds(t, view.trial_left_ms);
  put_char(t, '\n');
  family(t, "uptime_seconds", "gauge", "seconds", "Since the node started");
  name(t, "uptime_seconds ");
  put_seconds(t, view.uptime_ms);
  put_char(t, '\n');
  family(t, "boots", "counter", nullptr, "Starts since first flash");
  number(t, "boots_total", view.slots.boots);
  family(t, "free_bytes", "gauge", "bytes", "Free memory");
  number(t, "free_bytes", view.free_bytes);
  family(t, "requests", "counter", nullptr, "Requests answered since the start");
  number(t, "requests_total", view.requests);
  family(t, "refusals", "counter", nullptr, "Requests refused since the start");
  number(t, "refusals_total", view.refusals);
  if (!view.has_rssi) return;
  family(t, "rssi_dbm", "gauge", "dbm", "Signal strength");
  name(t, "rssi_dbm ");
  put_i32(t, view.rssi_dbm);
  put_char(t, '\n');
}

void tank_sample(Text *t, const char *metric, const char *tank) {
  name(t, metric);
  label(t, "{", "tank", tank);
}

void put_marks(Text *t, const NodeView &view) {
  family(t, "mark_wet", "gauge", nullptr, "1 when the probe at the mark is wet, absent while it settles or flaps");
  for (size_t i = 0; i < view.block->tank_count; ++i) {
    const TankBlock &tank = view.block->tanks[i];
    for (size_t k = 0; k < tank.mark_count; ++k) {
      const ProbeState state = view.control->tanks[i].probes[k].state;
      if (state == ProbeState::kSettling || state == ProbeState::kFlapping) continue;
      tank_sample(t, "mark_wet", tank.name);
      label(t, ",", "mark", tank.marks[k].name);
      put(t, state == ProbeState::kWet ? "} 1\n" : "} 0\n");
    }
  }
}

void put_levels(Text *t, const NodeView &view) {
  family(t, "level_marks", "gauge", "marks", "Number of the highest wet mark, absent while unknown");
  for (size_t i = 0; i < view.block->tank_count; ++i) {
    const Level &level = view.control->tanks[i].level;
    if (level.level == kLevelUnknown) continue;
    tank_sample(t, "level_marks", view.block->tanks[i].name);
    put(t, "} ");
    put_i32(t, level.level);
    put_char(t, '\n');
  }
  family(t, "tank_fault", "stateset", nullptr, "Fault of a tank");
  for (size_t i = 0; i < view.block->tank_count; ++i) {
    const TankFault fault = tank_fault(view.control->tanks[i].level, view.control->tanks[i].pump);
    for (const TankFault each : kTankFaults) {
      tank_sample(t, "tank_fault", view.block->tanks[i].name);
      label(t, ",", "tanknode_tank_fault", tank_fault_text(each));
      put(t, each == fault ? "} 1\n" : "} 0\n");
    }
  }
}

enum class PumpMetric : uint8_t { kRelay, kStarts, kRun };

void put_pump_metric(Text *t, const NodeView &view, const char *metric, PumpMetric which) {
  for (size_t i = 0; i < view.block->tank_count; ++i) {
    const TankControl &tank = view.control->tanks[i];
    if (tank.rules.does == PumpDoes::kNone) continue;
    tank_sample(t, metric, view.block->tanks[i].name);
    put(t, "} ");
    if (which == PumpMetric::kRelay) put_u64(t, tank.pump.on ? 1 : 0);
    if (which == PumpMetric::kStarts) put_u64(t, tank.pump.starts);
    if (which == PumpMetric::kRun) put_seconds(t, tank.pump.run_ms);
    put_char(t, '\n');
  }
}

void put_pumps(Text *t, const NodeView &view) {
  family(t, "pump_relay_on", "gauge", nullptr, "1 while the pump relay is on");
  put_pump_metric(t, view, "pump_relay_on", PumpMetric::kRelay);
  family(t, "pump_starts", "counter", nullptr, "Starts of the pump since the node started");
  put_pump_metric(t, view, "pump_starts_total", PumpMetric::kStarts);
  family(t, "pump_run_seconds", "counter", "seconds", "Time that the pump has run since the node started");
  put_pump_metric(t, view, "pump_run_seconds_total", PumpMetric::kRun);
}

}  // namespace

void put_metrics(Text *t, const NodeView &view) {
  put_node(t, view);
  if ((view.faults & kFaultBadBlock) == 0) {
    put_marks(t, view);
    put_levels(t, view);
    put_pumps(t, view);
  }
  put(t, "# EOF\n");
}

}  // namespace tn
