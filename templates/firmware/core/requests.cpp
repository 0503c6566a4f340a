// The part of Node that knows what a request means and what it is answered.
#include <string.h>

#include "node.h"
#include "state_doc.h"

namespace tn {

namespace {

constexpr const char *kProblemType = "application/problem+json";  // RFC 9457
constexpr size_t kDetailChars = 120;

enum class Does : uint8_t { kState, kMetrics, kImage, kKeep, kPutBack, kRest, kGiveNetwork, kKeepNetwork, kClearFault, kClearBrownOuts };

struct Route {
  const char *path;
  const char *method;
  Does does;
};

constexpr Route kRoutes[] = {
    {"/v1/state", "GET", Does::kState},   {"/metrics", "GET", Does::kMetrics},    {"/v1/image", "PUT", Does::kImage},
    {"/v1/keep", "POST", Does::kKeep},    {"/v1/put-back", "POST", Does::kPutBack},  {"/v1/rest", "POST", Does::kRest},
    {"/v1/network", "PUT", Does::kGiveNetwork}, {"/v1/network", "POST", Does::kKeepNetwork},
    {"/v1/clear-fault/1", "POST", Does::kClearFault}, {"/v1/clear-fault/2", "POST", Does::kClearFault},
    {"/v1/clear-fault/3", "POST", Does::kClearFault}, {"/v1/clear-fault/4", "POST", Does::kClearFault},
    {"/v1/clear-brown-outs", "POST", Does::kClearBrownOuts},
};

constexpr const char kClearFault[] = "/v1/clear-fault/";  // and the number of the tank, from 1
static_assert(kTanksPerNode == 4, "a route for each");

// Of a path that clears the fault of a tank: which, from 0. Else kTanksPerNode.
size_t tank_in(const char *path) {
  const size_t n = sizeof kClearFault - 1;
  return strncmp(path, kClearFault, n) == 0 ? static_cast<size_t>(path[n] - '1') : kTanksPerNode;
}

const Route *route_of(const char *path, const char *method) {
  for (const Route &route : kRoutes) {
    if (strcmp(route.path, path) == 0 && strcmp(route.method, method) == 0) return &route;
  }
  return nullptr;
}

bool is_path(const char *path) {
  for (const Route &route : kRoutes) {
    if (strcmp(route.path, path) == 0) return true;
  }
  return false;
}

void put_allow(Text *t, const char *path) {
  const char *before = "Allow: ";
  for (const Route &route : kRoutes) {
    if (strcmp(route.path, path) != 0) continue;
    put(t, before);
    put(t, route.method);
    before = ", ";
  }
  put(t, "\r\n");
}

// Where the digest that was promised waits while new credentials come, which begin at the room's start.
constexpr size_t kPromisedAt = 128;
static_assert(kNetworkBodyBytes <= kPromisedAt && kPromisedAt + 32 <= kHeadBytes, "both in the room of the head");

void copy_text(Slice from, char *to) {
  memcpy(to, from.at, from.n);
  to[from.n] = '\0';
}

}  // namespace

void Node::handle(size_t i) {
  Connection &c = connections_[i];
  copy_text(c.head.method, c.method);
  copy_text(c.head.path, c.path);
  c.body_unread = c.head.chunked || c.head.length > c.reader.n - c.reader.head_n;
  if (parse_accept_signature(c.head.accept_signature, &c.wish) != Code::kOk) {
    c.wish.wanted = false;
    return refuse(i, Code::kBadRequest, "Accept-Signature");
  }
  const Route *route = route_of(c.path, c.method);
  const size_t tank = tank_in(c.path), tanks = has(kFaultBadBlock) ? 0 : block_->tank_count;
  if (tank < kTanksPerNode && tank >= tanks) return refuse(i, Code::kNotFound, "no such tank");
  if (route == nullptr) return refuse(i, is_path(c.path) ? Code::kBadMethod : Code::kNotFound, nullptr);
  if (c.head.chunked) return refuse(i, Code::kLengthRequired, nullptr);
  if (route->does == Does::kImage) return handle_image(i);
  if (route->does == Does::kGiveNetwork) return handle_network(i);
  if (c.head.length != 0) return refuse(i, Code::kBadRequest, "no body is taken here");
  if (strcmp(c.method, "POST") == 0) return handle_post(i);
  c.at = At::kWaiting;
  c.begun_ms = now_ms_;
}

// Signature, nonce and the promised digest. A nonce that was used is used up, whatever follows.
Code Node::authenticate(Connection *c, uint8_t digest[32]) {
  if (!has_identity()) {
    return c->head.signature.at == nullptr || c->head.signature_input.at == nullptr ? Code::kNoSignature : Code::kBadSignature;
  }
  const SignedRequest request{slice(c->method),    slice(c->path),           c->head.content_digest,
                              c->head.tank_ticket, c->head.signature_input, c->head.signature};
  const uint8_t *const key = credentials_.node_key();
  Code code = verify_request(request, slice(name_), key, slice(nonces_.present), *port_->crypto, digest);
  const char *const before = nonces_before(nonces_, now_ms_);
  if (code == Code::kNonceUsed && before != nullptr) {
    code = verify_request(request, slice(name_), key, slice(before), *port_->crypto, digest);
  }
  if (code != Code::kOk) return code;
  c->verified = true;
  new_nonces();
  return Code::kOk;
}

void Node::handle_image(size_t i) {
  Connection &c = connections_[i];
  uint8_t digest[32];
  Code code = authenticate(&c, digest);
  char room[kDetailChars + 1];
  Text detail = text_into(room, kDetailChars);
  if (code == Code::kOk) code = accept_image(c, digest, &detail);
  room[detail.n] = '\0';
  if (code != Code::kOk) return refuse(i, code, detail.n == 0 ? nullptr : room);
  if (begin_body(&c)) take_body(i, c.reader.room + c.reader.head_n, c.reader.n - c.reader.head_n);
}

// The body may come. True: some of it came with the head.
bool Node::begin_body(Connection *c) {
  c->body_unread = false;
  c->body_left = c->head.length;
  c->last_byte_ms = look_at_clock();
  c->ends_ms = now_ms_ + paced_ms(c->head.length);
  c->sent = 0;
  const bool begun = c->reader.n > c->reader.head_n;
  c->at = c->head.expects_continue && !begun ? At::kGoAhead : At::kBody;
  return begun;
}

void Node::handle_network(size_t i) {
  Connection &c = connections_[i];
  uint8_t digest[32];
  Code code = authenticate(&c, digest);
  if (code == Code::kOk) code = accept_network(c);
  if (code != Code::kOk) return refuse(i, code, nullptr);
  c.takes_network = true;
  const bool begun = begin_body(&c);
  const size_t n = c.reader.n - c.reader.head_n;
  if (begun) memmove(c.reader.room, c.reader.room + c.reader.head_n, n < kNetworkBodyBytes ? n : kNetworkBodyBytes);
  memcpy(c.reader.room + kPromisedAt, digest, sizeof digest);
  if (begun) take_network(i, n);
}

Code Node::accept_network(const Connection &c) const {
  if (!c.head.has_length) return Code::kLengthRequired;
  if (c.head.length != kNetworkBodyBytes) return Code::kWrongSize;
  return updating() ? Code::kBusy : Code::kOk;
}

// They lie in the room already.
void Node::take_network(size_t i, size_t n) {
  Connection &c = connections_[i];
  if (n <= c.body_left) {
    c.body_left -= static_cast<uint32_t>(n);
    return;
  }
  c.body_unread = true;
  refuse(i, Code::kWrongSize, "the body went on");
}

void Node::finish_network(size_t i) {
  Connection &c = connections_[i];
  uint8_t *const body = reinterpret_cast<uint8_t *>(c.reader.room);
  uint8_t digest[32];
  Sha256 sha;
  port_->crypto->sha256_begin(&sha);
  port_->crypto->sha256_add(&sha, body, kNetworkBodyBytes);
  port_->crypto->sha256_end(&sha, digest);
  if (memcmp(digest, body + kPromisedAt, sizeof digest) != 0) return refuse(i, Code::kWrongDigest, nullptr);
  if (updating()) return refuse(i, Code::kBusy, nullptr);  // an image came meanwhile
  const Code code = give_network(body);
  if (code != Code::kOk) return refuse(i, code, nullptr);
  answer_ok(i, 202, has(kFaultNoRecord) ? Phase::kKept : slots_.facts().phase);
}

Code Node::give_network(uint8_t body[kNetworkBodyBytes]) {
  NewNetwork fresh;
  Code code = open_network_body(*port_->crypto, credentials_.node_key(), slice(name_), body, &fresh);
  if (code != Code::kOk) return code;
  code = credentials_.give(fresh.network, fresh.trial_s);
  wipe(&fresh.network, sizeof fresh.network);
  set_fault(kFaultFlash, code != Code::kOk);
  if (code != Code::kOk) return code;
  network_trial_give(&network_trial_, fresh.trial_s, now_ms_);
  join_steady(&join_, true);
  return Code::kOk;
}

// Only who is joined by them may keep them: what is kept has been seen to work.
Code Node::keep_network() {
  if (!network_trial_joined(network_trial_, Which::kNew, network_was_up_)) return Code::kNotOnTrial;
  const Code code = credentials_.keep();
  set_fault(kFaultFlash, code == Code::kFlashFailed);
  if (code != Code::kOk) return code;
  network_trial_end(&network_trial_, false);
  join_steady(&join_, false);
  return Code::kOk;
}

// Everything that can be known before the first byte of the image, in the order of the codes.
Code Node::accept_image(const Connection &c, const uint8_t digest[32], Text *detail) {
  uint8_t bytes[kTicketBytes];
  size_t n = 0;
  if (!parse_byte_sequence(c.head.tank_ticket, bytes, sizeof bytes, &n)) return Code::kBadTicket;
  if (has(kFaultNoRecord)) return Code::kFlashFailed;
  if (has(kFaultBadBlock)) {
    put(detail, "the node block is damaged: no signing key to check with");
    return Code::kUnknownKey;
  }
  const SlotFacts facts = slots_.facts();
  Ticket ticket;
  const Code code = check_ticket(bytes, n, *block_, facts.floor, *port_->crypto, &ticket);
  if (code == Code::kOldSequence) {
    put(detail, "sequence ");
    put_u64(detail, ticket.sequence);
    put(detail, " is not above the floor ");
    put_u64(detail, facts.floor);
  }
  if (code != Code::kOk) return code;
  if (facts.phase == Phase::kOnTrial) return Code::kOnTrial;
  if (updating()) return Code::kBusy;
  if (port_->can_restart != nullptr && !port_->can_restart(port_->ctx)) {
    put(detail, "loaded over USB: take the power away once first");
    return Code::kBusy;
  }
  if (!c.head.has_length) return Code::kLengthRequired;
  if (c.head.length > slots_.room()) {
    put(detail, "the slot takes ");
    put_u64(detail, slots_.room());
    put(detail, " bytes");
    return Code::kTooBig;
  }
  if (c.head.length != ticket.size_bytes) {
    put(detail, "the ticket says ");
    put_u64(detail, ticket.size_bytes);
    put(detail, " bytes");
    return Code::kWrongSize;
  }
  if (memcmp(digest, ticket.sha256, sizeof ticket.sha256) != 0) {
    put(detail, "Content-Digest is not the ticket's digest");
    return Code::kWrongDigest;
  }
  return slots_.begin_update(ticket, bytes, n);
}

// What erasing and programming take is the node's own time: the sender gets it back.
Code Node::write_piece(Connection *c, const uint8_t *data, size_t n) {
  const uint64_t begun_ms = look_at_clock();
  const Code code = slots_.write(data, n);
  c->last_byte_ms = look_at_clock();
  c->ends_ms += now_ms_ - begun_ms;
  return code;
}

void Node::take_body(size_t i, const char *data, size_t n) {
  Connection &c = connections_[i];
  Code code = Code::kOk;
  const char *detail = nullptr;
  if (n > c.body_left) {
    code = Code::kWrongSize;
    detail = "the body went on";
  } else {
    code = write_piece(&c, reinterpret_cast<const uint8_t *>(data), n);
    c.body_left -= static_cast<uint32_t>(n);
  }
  if (code == Code::kOk) return;
  slots_.abort_update();
  c.body_unread = true;
  refuse(i, code, detail);
}

void Node::handle_post(size_t i) {
  Connection &c = connections_[i];
  uint8_t digest[32];
  Code code = authenticate(&c, digest);
  if (code != Code::kOk) return refuse(i, code, nullptr);
  uint8_t empty[32];
  Sha256 sha;
  port_->crypto->sha256_begin(&sha);
  port_->crypto->sha256_end(&sha, empty);
  if (memcmp(digest, empty, sizeof empty) != 0) {
    return refuse(i, Code::kBadRequest, "Content-Digest is not that of an empty body");
  }
  const Does does = route_of(c.path, c.method)->does;
  if (does == Does::kKeepNetwork) {
    code = keep_network();
    if (code != Code::kOk) return refuse(i, code, nullptr);
    return agree(i, has(kFaultNoRecord) ? Phase::kKept : slots_.facts().phase);
  }
  if (does == Does::kRest) {
    if (!has(kFaultBadBlock)) control_rest(&control_);
    return agree(i, has(kFaultNoRecord) ? Phase::kKept : slots_.facts().phase);
  }
  if (does == Does::kClearFault) {
    code = clear_fault(tank_in(c.path));
    if (code != Code::kOk) return refuse(i, code, nullptr);
    return agree(i, has(kFaultNoRecord) ? Phase::kKept : slots_.facts().phase);
  }
  if (updating()) return refuse(i, Code::kBusy, nullptr);
  if (does == Does::kClearBrownOuts) {
    code = clear_brown_outs();
    if (code != Code::kOk) return refuse(i, code, nullptr);
    return agree(i, has(kFaultNoRecord) ? Phase::kKept : slots_.facts().phase);
  }
  const bool keeps = does == Does::kKeep;
  if (has(kFaultNoRecord)) return refuse(i, keeps ? Code::kNotOnTrial : Code::kNoOlderImage, nullptr);
  code = keeps ? slots_.keep() : slots_.put_back(Reason::kTold);
  set_fault(kFaultFlash, code == Code::kFlashFailed);
  if (code != Code::kOk) return refuse(i, code, nullptr);
  if (!keeps) return agree_and_restart(i, Phase::kPutBack);
  healthy_ = true;
  announce();
  agree(i, Phase::kKept);
}

void Node::answer_page(size_t i) {
  Connection &c = connections_[i];
  LongAnswer *answer = &rooms_[c.answer_room];
  NodeView seen;
  view(&seen);
  const Page page = route_of(c.path, c.method)->does == Does::kState ? Page::kState : Page::kMetrics;
  uint8_t digest[32];
  long_answer_begin(answer, page, seen);
  const size_t body_n = long_answer_measure(answer, *port_->crypto, digest);
  put_head(i, 200, page_type(page), body_n, digest);
}

void Node::refuse(size_t i, Code code, const char *detail) {
  Connection &c = connections_[i];
  Text body = text_into(c.reader.room + kAnswerHeadBytes, kHeadBytes - kAnswerHeadBytes);
  put(&body, "{\"type\":\"about:blank\",\"title\":");
  put_json_string(&body, title_of(code));
  put(&body, ",\"status\":");
  put_u64(&body, status_of(code));
  put(&body, ",\"code\":");
  put_json_string(&body, text_of(code));
  if (detail != nullptr) {
    put(&body, ",\"detail\":");
    put_json_string(&body, detail);
  }
  put(&body, "}\n");
  ++refusals_;
  finish_short(i, status_of(code), kProblemType, body);
}

void Node::agree(size_t i, Phase phase) { answer_ok(i, 200, phase); }

void Node::agree_and_restart(size_t i, Phase phase) {
  connections_[i].restarts = true;
  want_restart();
  answer_ok(i, 202, phase);
}

void Node::answer_ok(size_t i, uint16_t status, Phase phase) {
  Connection &c = connections_[i];
  Text body = text_into(c.reader.room + kAnswerHeadBytes, kHeadBytes - kAnswerHeadBytes);
  put(&body, "{\"ok\":true,\"phase\":");
  put_json_string(&body, phase_text(phase));
  put(&body, "}\n");
  finish_short(i, status, kJsonType, body);
}

// The body lies behind the room for the head.
void Node::finish_short(size_t i, uint16_t status, const char *type, const Text &body) {
  Connection &c = connections_[i];
  uint8_t digest[32];
  Sha256 sha;
  port_->crypto->sha256_begin(&sha);
  port_->crypto->sha256_add(&sha, body.to, body.n);
  port_->crypto->sha256_end(&sha, digest);
  if (body.over) return drop(i);  // cannot be: the longest texts are tested to fit
  if (put_head(i, status, type, body.n, digest)) c.answer_n += body.n;
}

// The head is made before its place in reader.room and moved up to the body. False: the connection was dropped.
bool Node::put_head(size_t i, uint16_t status, const char *type, size_t body_n, const uint8_t body_sha256[32]) {
  Connection &c = connections_[i];
  Text head = text_into(c.reader.room, kAnswerHeadBytes);
  put_answer_head(&head, status, type, body_n);
  if (status == 405) put_allow(&head, c.path);
  if (c.wish.wanted && has_identity()) {
    const size_t n = sign_answer(c.wish, status, slice(c.method), slice(c.path), body_sha256, slice(name_),
                                 credentials_.node_key(), *port_->crypto, head.to + head.n, head.room - head.n);
    // Without memory to sign with, only the refusal that says so goes out, unsigned: it proves nothing and claims nothing. Of any
    // other answer the asker hears nothing, and asks for the state.
    head.over = head.over || (n == 0 && status != status_of(Code::kNoMemory));
    head.n += n;
  }
  put(&head, "\r\n");
  ++requests_;
  if (head.over) {  // no memory to sign with; too long it cannot be: the longest block is tested to fit
    drop(i);
    return false;
  }
  c.answer_at = kAnswerHeadBytes - head.n;
  memmove(c.reader.room + c.answer_at, head.to, head.n);
  c.answer_n = head.n;
  c.sent = 0;
  c.at = At::kAnswering;
  c.begun_ms = c.last_byte_ms = look_at_clock();
  c.ends_ms = now_ms_ + paced_ms(head.n + body_n);
  return true;
}

}  // namespace tn
