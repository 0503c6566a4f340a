// The part of Node that moves bytes: accepts, reads heads and bodies, sends answers, ends what takes too long.
#include <string.h>

#include "node.h"

namespace tn {

namespace {

constexpr char kGoAheadText[] = "HTTP/1.1 100 Continue\r\n\r\n";
constexpr uint32_t kAfterAnswerMs = 100;  // between the answer's last byte and the restart: the network has to carry it
// Said without reading the request: unsigned, for nobody has asked for a signature yet.
constexpr char kCrowdedText[] =
    "HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nRetry-After: 1\r\n"
    "Content-Type: application/problem+json\r\nContent-Length: 82\r\n\r\n"
    "{\"type\":\"about:blank\",\"title\":\"No free connection\",\"status\":503,\"code\":\"crowded\"}\n";

// For how long a connection that may be closed for another has not come on; 0: it may not. A head comes on only by being whole,
// so that a byte now and then keeps no place.
uint64_t standing_ms(const Connection &c, uint64_t now_ms) {
  if (c.verified) return 0;
  const uint64_t ms = now_ms - (c.at == At::kAnswering ? c.last_byte_ms : c.begun_ms);
  return ms >= (c.at == At::kHead ? kHeadAloneMs : kStalledMs) ? ms : 0;
}

}  // namespace

void Node::take_connections() {
  if (restart_wanted_) return;
  while (door_open()) {
    const int handle = port_->accept(port_->ctx);
    if (handle < 0) return;
    const size_t i = place_for_another();
    if (i < kConnections) take_connection(i, handle);
    else tell_crowded(handle);
  }
}

// Whoever will soon find a place waits outside for it; `crowded` is told only while all places are worked on for their owner.
bool Node::door_open() const {
  bool all_verified = true;
  for (const Connection &c : connections_) {
    if (c.at == At::kFree || standing_ms(c, now_ms_) > 0) return true;
    all_verified = all_verified && c.verified;
  }
  return all_verified;
}

void Node::take_connection(size_t i, int handle) {
  Connection &c = connections_[i];
  c.at = At::kHead;
  c.handle = handle;
  c.verified = c.body_unread = c.restarts = c.takes_network = false;
  c.answer_room = kNoAnswerRoom;
  c.in_piece = false;
  c.begun_ms = c.last_byte_ms = now_ms_;
  c.wish.wanted = false;
  c.method[0] = c.path[0] = '\0';
  http_begin(&c.reader);
}

// A free place, or that of the connection which has come on least of late, closed for it. kConnections: none may be closed.
// Nothing that a stranger sends or reads holds a place for long, then, and a signed request finds one.
size_t Node::place_for_another() {
  size_t least = kConnections;
  uint64_t longest_ms = 0;
  for (size_t i = 0; i < kConnections; ++i) {
    if (connections_[i].at == At::kFree) return i;
    const uint64_t ms = standing_ms(connections_[i], now_ms_);
    if (ms <= longest_ms) continue;
    least = i;
    longest_ms = ms;
  }
  if (least < kConnections) drop(least);
  return least;
}

void Node::tell_crowded(int handle) {
  const uint8_t *text = reinterpret_cast<const uint8_t *>(kCrowdedText);
  ++requests_;
  ++refusals_;
  crowded_handle_ = handle;
  crowded_ms_ = now_ms_;
  if (port_->send(port_->ctx, handle, text, sizeof kCrowdedText - 1) != static_cast<int>(sizeof kCrowdedText - 1)) {
    crowded_ms_ = 0;  // not even room for that: close in this step
  }
}

void Node::step_crowded() {
  if (crowded_handle_ == kNoHandle) return;
  uint8_t away[256];
  const int n = port_->recv(port_->ctx, crowded_handle_, away, sizeof away);
  if (n >= 0 && now_ms_ - crowded_ms_ < kCrowdedMs) return;
  close_crowded();
}

void Node::close_crowded() {
  if (crowded_handle_ == kNoHandle) return;
  port_->close(port_->ctx, crowded_handle_);
  crowded_handle_ = kNoHandle;
}

bool Node::timed_out(const Connection &c) const {
  const uint64_t silent_ms = now_ms_ - c.last_byte_ms;
  const uint64_t passed_ms = now_ms_ - c.begun_ms;
  switch (c.at) {
    case At::kHead: return silent_ms >= kSilenceMs || passed_ms >= kHeadMs;
    case At::kWaiting: return passed_ms >= kRoomMs;
    case At::kGoAhead:
    case At::kBody:
    case At::kAnswering: return silent_ms >= kSilenceMs || now_ms_ >= c.ends_ms;
    case At::kDraining: return passed_ms >= kDrainMs;
    case At::kFree:
    case At::kChecking: return false;
  }
  return false;
}

bool Node::step_connection(size_t i) {
  Connection &c = connections_[i];
  if (timed_out(c)) drop(i);
  switch (c.at) {
    case At::kFree: return false;
    case At::kHead: return read_head(i);
    case At::kWaiting: return wait_for_room(i);
    case At::kGoAhead: return go_ahead(i);
    case At::kBody: return read_body(i);
    case At::kChecking: return check_image(i);
    case At::kAnswering: return send_answer(i);
    case At::kDraining: return drain(i);
  }
  return false;
}

bool Node::read_head(size_t i) {
  Connection &c = connections_[i];
  uint8_t *to = reinterpret_cast<uint8_t *>(c.reader.room) + c.reader.n;
  const int n = port_->recv(port_->ctx, c.handle, to, kHeadBytes - c.reader.n);
  if (n < 0) drop(i);
  if (n <= 0) return false;
  c.last_byte_ms = now_ms_;
  c.reader.n += static_cast<size_t>(n);
  const char *why = nullptr;
  const HttpRead read = http_read(&c.reader, &c.head, &why);
  if (read == HttpRead::kBad) {
    c.body_unread = true;
    refuse(i, Code::kBadRequest, why);
  } else if (read == HttpRead::kWhole) {
    handle(i);
  }
  return true;
}

bool Node::wait_for_room(size_t i) {
  for (const Connection &other : connections_) {
    if (other.at == At::kWaiting && other.begun_ms < connections_[i].begun_ms) return false;  // in the order of their coming
  }
  for (uint8_t room = 0; room < kAnswerRooms; ++room) {
    if (rooms_[room].used) continue;
    rooms_[room].used = true;
    connections_[i].answer_room = room;
    answer_page(i);
    return true;
  }
  return free_a_room();
}

// Takes its room from the reader that has not come on for longest. False: each does.
bool Node::free_a_room() {
  size_t least = kConnections;
  uint64_t longest_ms = kRoomStalledMs - 1;
  for (size_t i = 0; i < kConnections; ++i) {
    const uint64_t ms = now_ms_ - connections_[i].last_byte_ms;
    if (connections_[i].at != At::kAnswering || connections_[i].answer_room == kNoAnswerRoom || ms <= longest_ms) continue;
    least = i;
    longest_ms = ms;
  }
  if (least == kConnections) return false;
  drop(least);
  return true;
}

bool Node::go_ahead(size_t i) {
  Connection &c = connections_[i];
  const uint8_t *text = reinterpret_cast<const uint8_t *>(kGoAheadText);
  const int n = port_->send(port_->ctx, c.handle, text + c.sent, sizeof kGoAheadText - 1 - c.sent);
  if (n < 0) drop(i);
  if (n <= 0) return false;
  c.last_byte_ms = now_ms_;
  c.sent += static_cast<size_t>(n);
  if (c.sent == sizeof kGoAheadText - 1) c.at = At::kBody;
  return true;
}

bool Node::read_body(size_t i) {
  Connection &c = connections_[i];
  // With nothing left to come, one more byte is asked for: a body that goes on is refused.
  const size_t want = c.body_left == 0 ? 1 : c.body_left < kHeadBytes ? c.body_left : kHeadBytes;
  char *const to = c.reader.room + (c.takes_network ? kNetworkBodyBytes - c.body_left : 0);
  const int n = port_->recv(port_->ctx, c.handle, reinterpret_cast<uint8_t *>(to), want);
  if (n > 0) {
    c.last_byte_ms = now_ms_;
    if (c.takes_network) take_network(i, static_cast<size_t>(n));
    else take_body(i, to, static_cast<size_t>(n));
    return true;
  }
  if (c.body_left == 0) {
    if (c.takes_network) finish_network(i);
    else c.at = At::kChecking;
    return true;
  }
  if (n < 0) {
    if (!c.takes_network) slots_.abort_update();
    refuse(i, Code::kWrongSize, "the body ended early");
  }
  return n < 0;
}

bool Node::check_image(size_t i) {
  Code why = Code::kOk;
  const Step step = slots_.finish_update(&why);
  if (step == Step::kRefused) refuse(i, why, nullptr);
  if (step == Step::kDone) agree_and_restart(i, Phase::kOnTrial);
  return true;
}

bool Node::send_answer(size_t i) {
  Connection &c = connections_[i];
  const char *room = c.in_piece ? rooms_[c.answer_room].piece : c.reader.room;
  const uint8_t *from = reinterpret_cast<const uint8_t *>(room + c.answer_at);
  const int n = port_->send(port_->ctx, c.handle, from + c.sent, c.answer_n - c.sent);
  if (n < 0) drop(i);
  if (n <= 0) return false;
  c.last_byte_ms = now_ms_;
  c.sent += static_cast<size_t>(n);
  if (c.sent < c.answer_n || next_piece(&c)) return true;
  if (c.restarts) restart_at_ms_ = now_ms_ + kAfterAnswerMs;
  if (c.body_unread) {
    c.at = At::kDraining;
    c.begun_ms = now_ms_;
  } else {
    drop(i);
  }
  return true;
}

bool Node::next_piece(Connection *c) {
  if (c->answer_room == kNoAnswerRoom) return false;
  c->in_piece = true;
  c->answer_at = c->sent = 0;
  c->answer_n = long_answer_next(&rooms_[c->answer_room]);
  return c->answer_n > 0;
}

bool Node::drain(size_t i) {
  uint8_t away[256];
  const int n = port_->recv(port_->ctx, connections_[i].handle, away, sizeof away);
  if (n < 0) drop(i);
  return n > 0;
}

void Node::drop(size_t i) {
  Connection &c = connections_[i];
  if (c.at == At::kFree) return;
  const bool receives = c.at == At::kGoAhead || c.at == At::kBody || c.at == At::kChecking;
  if (receives && !c.takes_network) slots_.abort_update();
  if (c.answer_room != kNoAnswerRoom) rooms_[c.answer_room].used = false;
  c.answer_room = kNoAnswerRoom;
  c.at = At::kFree;
  port_->close(port_->ctx, c.handle);
}

void Node::drop_all() {
  for (size_t i = 0; i < kConnections; ++i) drop(i);
  close_crowded();
}

}  // namespace tn
