// What the state document and the metrics page show, gathered in one place.
#ifndef TN_NODE_VIEW_H
#define TN_NODE_VIEW_H

#include "control.h"
#include "credentials.h"
#include "slots.h"

namespace tn {

// What is wrong with the node itself. One bit each.
enum NodeFault : uint8_t {
  kFaultBadBlock = 1u,    // the node block is damaged or says what cannot be: nothing is controlled
  kFaultNoRecord = 2u,    // no trial record for the running image: no update is taken
  kFaultNoKey = 4u,       // no credentials: no changing request is believed
  kFaultNoWayBack = 8u,   // the trial is over, but the older image is not whole
  kFaultFlash = 16u,      // the last write of the trial record, or of the credentials, failed
  kFaultNoRunRecord = 32u  // no place in flash for the record of runs: a restart forgets them, and faults that stay
};
constexpr uint8_t kNodeFaults[] = {kFaultBadBlock, kFaultNoRecord, kFaultNoKey, kFaultNoWayBack, kFaultFlash,
                                   kFaultNoRunRecord};
const char *node_fault_text(NodeFault fault);

// How the network credentials stand.
struct NetworkFacts {
  NetworkPhase phase;
  bool joined;       // by credentials that have a name
  Which on;          // those, if joined
  uint64_t left_ms;  // of the trial
  bool has_access_point;
  uint8_t bssid[6];
  uint8_t channel;
};

struct NodeView {
  const char *node;        // "" when the block is so damaged that it has no name
  const NodeBlock *block;
  const Control *control;  // not to be looked at with kFaultBadBlock
  SlotFacts slots;         // image is null without a record
  NetworkFacts network;
  uint8_t faults;          // NodeFault bits
  uint8_t mac[6];
  Reset reset;
  bool has_rssi;
  int16_t rssi_dbm;
  uint64_t uptime_ms;
  uint64_t trial_left_ms;
  uint32_t free_bytes;
  bool has_largest_block;
  uint32_t largest_block_bytes;
  uint32_t requests;  // answered since the start, refusals included
  uint32_t refusals;
  const char *nonce;
};

const char *reset_text(Reset reset);

}  // namespace tn

#endif
