// The control of all tanks of a node: samples the probes, decides each pump, drives the pump relays. Knows no network.
#ifndef TN_CONTROL_H
#define TN_CONTROL_H

#include "node_block.h"
#include "port.h"
#include "probe.h"
#include "pump.h"
#include "tank.h"

namespace tn {

struct TankControl {
  Probe probes[kMarksPerTank];
  Level level;
  PumpRules rules;
  Pump pump;
};

struct Control {
  const NodeBlock *block;
  const Port *port;
  TankControl tanks[kTanksPerNode];
  uint64_t next_sample_ms;
  uint64_t at_ms;  // process time of the last step
};

// The block must have passed check_node_block(). Every pump relay is put off before anything else.
void control_begin(Control *control, const NodeBlock *block, const Port *port);

// Samples when a sample is due; decides the pumps and drives their relays each time.
void control_step(Control *control, bool updating);

void control_rest(Control *control);
void control_all_off(Control *control);  // before a restart

}  // namespace tn

#endif
