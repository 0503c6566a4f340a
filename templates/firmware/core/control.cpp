#include "control.h"

namespace tn {

namespace {

void drive(const Control &control, size_t i, bool on) {
  const TankBlock &tank = control.block->tanks[i];
  if (has_pump(tank)) control.port->relay(control.port->ctx, tank.pump_pin, on == (tank.pump_active_high != 0));
}

void sample(Control *control) {
  const NodeBlock &block = *control->block;
  const Port &port = *control->port;
  for (size_t i = 0; i < block.tank_count; ++i) {
    TankControl &tank = control->tanks[i];
    const uint8_t feed_pin = block.feed_pins[i];
    if (feed_pin != kNoPin) port.feed(port.ctx, feed_pin, true);
    for (size_t k = 0; k < block.tanks[i].mark_count; ++k) {
      const MarkBlock &mark = block.tanks[i].marks[k];
      probe_sample(&tank.probes[k], port.probe_is_low(port.ctx, mark.pin, mark.pull), control->at_ms, block.debounce_ms);
    }
    if (feed_pin != kNoPin) port.feed(port.ctx, feed_pin, false);
    tank.level = level_from(tank.probes, block.tanks[i].mark_count);
  }
}

}  // namespace

void control_begin(Control *control, const NodeBlock *block, const Port *port) {
  control->block = block;
  control->port = port;
  control->at_ms = port->process_ms(port->ctx);
  control->next_sample_ms = control->at_ms;
  for (size_t i = 0; i < block->tank_count; ++i) drive(*control, i, false);
  for (size_t i = 0; i < block->tank_count; ++i) {
    TankControl &tank = control->tanks[i];
    for (size_t k = 0; k < kMarksPerTank; ++k) probe_begin(&tank.probes[k]);
    tank.level = level_from(tank.probes, block->tanks[i].mark_count);
    tank.rules = pump_rules(block->tanks[i], block->power_up_hold_s);
    pump_begin(&tank.pump, control->at_ms);
  }
}

void control_step(Control *control, bool updating) {
  control->at_ms = control->port->process_ms(control->port->ctx);
  if (control->at_ms >= control->next_sample_ms) {
    sample(control);
    control->next_sample_ms = control->at_ms + control->block->sample_period_ms;
  }
  for (size_t i = 0; i < control->block->tank_count; ++i) {
    TankControl &tank = control->tanks[i];
    pump_step(&tank.pump, tank.rules, tank.level, updating, control->at_ms);
    drive(*control, i, tank.pump.on);
  }
}

void control_rest(Control *control) {
  for (size_t i = 0; i < control->block->tank_count; ++i) pump_rest(&control->tanks[i].pump, control->at_ms);
  control_step(control, false);
}

void control_all_off(Control *control) {
  for (size_t i = 0; i < control->block->tank_count; ++i) drive(*control, i, false);
}

}  // namespace tn
