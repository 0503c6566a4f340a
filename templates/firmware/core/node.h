// The whole node: control, trial, requests. A port calls begin() once and then step() again and again.
//
// Control comes first in each step and needs nothing of the network: four connections that hang change nothing for the pumps.
// Debounce and pump times are process time; trial, network and health are real time.
#ifndef TN_NODE_H
#define TN_NODE_H

#include "clear_button.h"
#include "connection.h"
#include "console.h"
#include "control.h"
#include "credentials.h"
#include "join.h"
#include "long_answer.h"
#include "network_body.h"
#include "network_trial.h"
#include "node_view.h"
#include "nonces.h"
#include "run_log.h"
#include "slots.h"

namespace tn {

constexpr uint32_t kRestartWithinMs = 1000;   // after the answer to a request that restarts the node
constexpr uint32_t kWayBackAgainMs = 60000;   // the older image is not whole: when to try again
constexpr uint16_t kTrialSecondsWithoutBlock = 300;

class Node {
 public:
  // `block`, `port` and `partition` stay valid for ever; `area`: index of the running image's area. False: the node has a fault
  // and does what it still can (facts in the state document).
  bool begin(const Port *port, const NodeBlock *block, const Partition *partition, uint8_t area);

  // One turn: control, trial, a bounded piece of work for each connection. True: there is more to do at once.
  bool step();

  void view(NodeView *to) const;

 private:
  const Port *port_;
  const NodeBlock *block_;
  const char *name_;  // "" with a block that has none
  const Partition *partition_;
  Control control_;
  Slots slots_;
  Credentials credentials_;
  RunLog runs_;
  ClearButton button_;
  uint8_t faults_;
  uint64_t begun_ms_;
  uint64_t now_ms_;
  uint64_t network_since_ms_;
  bool network_was_up_;
  Join join_;
  NetworkTrial network_trial_;
  Console console_;
  bool healthy_;
  bool restart_wanted_;
  bool restarted_;  // only with a test double: on a node restart() does not return
  uint64_t restart_at_ms_;
  uint64_t way_back_at_ms_;
  uint32_t requests_;
  uint32_t refusals_;
  Nonces nonces_;
  char image16_[17];
  Connection connections_[kConnections];
  int crowded_handle_;  // told `crowded`, and about to be closed; kNoHandle: none
  uint64_t crowded_ms_;
  LongAnswer rooms_[kAnswerRooms];

  bool has(NodeFault fault) const { return (faults_ & fault) != 0; }
  void set_fault(NodeFault fault, bool on);
  uint64_t look_at_clock() { return now_ms_ = port_->now_ms(port_->ctx); }  // anew within a step: after work on the flash
  bool updating() const;
  bool has_identity() const { return name_[0] != '\0' && !has(kFaultNoKey); }  // can prove who it is, and check who asks

  // node.cpp
  void open_slots(uint8_t area);
  void step_control();
  void step_network();
  void step_radio(bool up);
  void step_network_trial(bool up);
  void leave_network();
  void call_network();
  void end_network_trial(bool up);
  void step_console();
  void run_command(Asked asked);
  void step_trial();
  void step_health();
  void step_restart();
  void announce();
  void new_nonces();
  void turn_nonces();
  void want_restart();
  uint64_t trial_left_ms() const;
  NetworkFacts network_facts() const;

  // node_runs.cpp: the record of runs, and faults that stay until a person clears them
  void begin_runs();
  Noted note_runs(bool leaving);
  void step_button();
  Code clear_fault(size_t tank);
  Code clear_faults();
  Code clear_brown_outs();

  // serve.cpp: sockets and time
  void take_connections();
  bool door_open() const;
  void take_connection(size_t i, int handle);
  size_t place_for_another();
  void tell_crowded(int handle);
  void step_crowded();
  void close_crowded();
  bool step_connection(size_t i);
  bool read_head(size_t i);
  bool wait_for_room(size_t i);
  bool free_a_room();
  bool go_ahead(size_t i);
  bool read_body(size_t i);
  bool check_image(size_t i);
  bool send_answer(size_t i);
  bool next_piece(Connection *c);
  bool drain(size_t i);
  void drop(size_t i);
  void drop_all();
  bool timed_out(const Connection &c) const;

  // requests.cpp: what a request means
  void handle(size_t i);
  Code authenticate(Connection *c, uint8_t digest[32]);
  void handle_image(size_t i);
  Code accept_image(const Connection &c, const uint8_t digest[32], Text *detail);
  Code write_piece(Connection *c, const uint8_t *data, size_t n);
  void take_body(size_t i, const char *data, size_t n);
  void handle_post(size_t i);
  bool begin_body(Connection *c);
  void handle_network(size_t i);
  Code accept_network(const Connection &c) const;
  void take_network(size_t i, size_t n);
  Code give_network(uint8_t body[kNetworkBodyBytes]);
  void finish_network(size_t i);
  Code keep_network();
  void answer_page(size_t i);
  void refuse(size_t i, Code code, const char *detail);
  void agree(size_t i, Phase phase);                // 200
  void agree_and_restart(size_t i, Phase phase);  // 202; phase: after the restart
  void answer_ok(size_t i, uint16_t status, Phase phase);
  void finish_short(size_t i, uint16_t status, const char *type, const Text &body);
  bool put_head(size_t i, uint16_t status, const char *type, size_t body_n, const uint8_t body_sha256[32]);
};

}  // namespace tn

#endif
