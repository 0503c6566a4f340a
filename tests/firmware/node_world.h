// A whole node in a made-up world: clocks that jump, pins, flash in memory, sockets that the test plays both ends of.
#ifndef TN_TEST_NODE_WORLD_H
#define TN_TEST_NODE_WORLD_H

#include <stdio.h>
#include <stdlib.h>

#include "check.h"
#include "core/node.h"
#include "memory_flash.h"
#include "ports/host/crypto_bearssl.h"
#include "sample_block.h"
#include "sign_helper.h"

namespace world {

constexpr size_t kImageN = 7001;
constexpr int kSockets = static_cast<int>(tn::kConnections) + 1;

struct Socket {
  bool open;
  bool peer_closed;       // the test's end
  bool stuck;             // takes no bytes of the answer
  size_t sip;             // takes so many at a time; 0: as many as fit
  unsigned char in[16384];  // to the node
  size_t in_n, in_at;
  char out[16384];        // from the node
  size_t out_n;
};

struct World {
  tn::NodeBlock block;
  tn::Port port;
  MemoryFlash flash;
  Socket sockets[kSockets];
  Socket done[kSockets];  // as they were when the node closed them
  int knocking;           // connections that wait to be accepted
  uint64_t now_ms, process_ms;
  bool wet[64], level_high[64];
  bool network_up;
  int announced, goodbyes, restarts, fed;
  char announced_phase[16];
  int joins, radio_offs;     // calls of Port::join with a network, and without
  char joined_to[40], joined_with[64];
  const char *air[2];  // networks that are there; both null: what network_up says
  char typed[128];           // at the console
  size_t typed_n, typed_at;
  char shown[4096];          // by the console
  size_t shown_n;
  size_t console_room;       // bytes that the console takes per call
  uint8_t random;
  tn::Reset reset;           // why the next start comes
  uint32_t area;
  sign::KeyPair key;
  unsigned char node_key[32];
  unsigned char images[3][kImageN];
};
inline World w;
inline tn::Node node;

inline bool probe_is_low(void *, uint8_t pin, uint8_t) { return w.wet[pin]; }
inline void relay(void *, uint8_t pin, bool level_high) { w.level_high[pin] = level_high; }
inline uint64_t now_ms(void *) { return w.now_ms; }
inline uint64_t process_ms(void *) { return w.process_ms; }
inline int accept(void *) {
  for (int i = 0; i < kSockets && w.knocking > 0; ++i) {
    if (w.sockets[i].open) continue;
    --w.knocking;
    w.sockets[i].open = true;
    return i;
  }
  return -1;
}
inline int recv(void *, int i, uint8_t *to, size_t n) {
  Socket &s = w.sockets[i];
  CHECK(s.open);
  const size_t have = s.in_n - s.in_at;
  if (have == 0) return s.peer_closed ? -1 : 0;
  const size_t m = n < have ? n : have;
  memcpy(to, s.in + s.in_at, m);
  s.in_at += m;
  return static_cast<int>(m);
}
inline int send(void *, int i, const uint8_t *from, size_t n) {
  Socket &s = w.sockets[i];
  CHECK(s.open);
  if (s.stuck) return 0;
  const size_t most = s.sip > 0 ? s.sip : 500;  // in pieces
  const size_t m = n < most ? n : most;
  memcpy(s.out + s.out_n, from, m);
  s.out_n += m;
  s.out[s.out_n] = '\0';
  return static_cast<int>(m);
}
inline void close(void *, int i) {
  CHECK(w.sockets[i].open);
  w.done[i] = w.sockets[i];
  w.sockets[i] = Socket{};
}
inline void announce(void *, const tn::Announcement *what) {
  ++w.announced;
  strcpy(w.announced_phase, what->phase);
}
inline void goodbye(void *) { ++w.goodbyes; }
inline void restart(void *) { ++w.restarts; }
inline void feed(void *) { ++w.fed; }
inline void random_bytes(void *, uint8_t *to, size_t n) { memset(to, ++w.random, n); }
inline uint32_t free_bytes(void *) { return 40000; }
inline bool rssi_dbm(void *, int16_t *) { return false; }
inline bool network_up(void *) {
  if (w.air[0] == nullptr && w.air[1] == nullptr) return w.network_up;
  for (const char *name : w.air)
    if (name != nullptr && strcmp(name, w.joined_to) == 0) return true;
  return false;
}
inline void mac(void *, uint8_t to[6]) { memset(to, 0x42, 6); }
inline tn::Reset reset_reason(void *) { return w.reset; }

inline void join(void *, const char *network, const char *passphrase) {
  CHECK((network == nullptr) == (passphrase == nullptr));
  if (network == nullptr) ++w.radio_offs;
  else ++w.joins;
  strcpy(w.joined_to, network == nullptr ? "" : network);
  strcpy(w.joined_with, passphrase == nullptr ? "" : passphrase);
}
inline int console_read(void *) { return w.typed_at < w.typed_n ? static_cast<unsigned char>(w.typed[w.typed_at++]) : -1; }
inline size_t console_write(void *, const char *from, size_t n) {
  const size_t m = n < w.console_room ? n : w.console_room;
  memcpy(w.shown + w.shown_n, from, m);
  w.shown_n += m;
  w.shown[w.shown_n] = '\0';
  return m;
}

inline sign::TicketFields fields_of(int image, uint64_t sequence) {
  sign::TicketFields f = {};
  f.sequence = sequence;
  memcpy(f.vendor_id, w.block.vendor_id, 16);
  memcpy(f.class_id, w.block.class_id, 16);
  strcpy(f.node, w.block.node);
  strcpy(f.format, "host-elf");
  f.size_bytes = kImageN;
  sign::sha256(w.images[image], kImageN, f.sha256);
  strcpy(f.release, "1.4.0");
  return f;
}

// A node as it leaves the bench of the person who flashed it: image 0 with sequence 5.
inline void first_flash() {
  static const World blank{};
  w = blank;
  w.now_ms = w.process_ms = 1000;
  w.network_up = true;
  w.key = sign::key_pair(7);
  memset(w.node_key, 0x5A, sizeof w.node_key);
  for (int i = 0; i < 3; ++i) {
    for (size_t k = 0; k < kImageN; ++k) w.images[i][k] = static_cast<unsigned char>((k * 31 + k / 251 + 77u * static_cast<unsigned>(i)) & 0xFF);
  }
  w.block = sample_block();
  memcpy(w.block.signing_key, w.key.point, 65);
  memcpy(w.block.key_id, w.key.id, 8);
  seal(&w.block);
  fresh_flash(&w.flash, kSmallFlashBytes + kSmallRunsBytes);
  tn::Network network = {};
  strcpy(network.name, "barn-wifi");
  strcpy(network.passphrase, "not-to-be-shown");
  CHECK(tn::first_credentials(w.flash.flash, kSmallTwoSlot, w.node_key, network));
  for (uint32_t at = 0; at < kImageN; at += 1000) {
    const uint32_t n = kImageN - at < 1000 ? static_cast<uint32_t>(kImageN) - at : 1000;
    w.flash.flash.program(&w.flash, kSmallTwoSlot.images[0].at + at, w.images[0] + at, n);
  }
  const sign::Bytes bytes = sign::ticket(fields_of(0, 5), &w.key);
  tn::Ticket ticket;
  CHECK(tn::parse_ticket(bytes.at, bytes.n, *tn::bearssl_crypto(), &ticket, nullptr, nullptr, nullptr) == tn::Code::kOk);
  tn::Slots slots;
  slots.begin(&w.flash.flash, &kSmallTwoSlot, tn::bearssl_crypto());
  CHECK(slots.first_flash(ticket, bytes.at, bytes.n) == tn::Code::kOk);
  w.port = tn::Port{nullptr, probe_is_low, relay,       now_ms,     process_ms, &w.flash.flash, accept,
                    recv,    send,         close,       announce,   goodbye,    restart,        feed,
                    random_bytes, free_bytes, rssi_dbm, network_up, mac,        reset_reason,   tn::bearssl_crypto(),
                    join,    console_read, console_write};
  w.console_room = 20;
}

// What the boot loader and the reset do. False: the node has a fault.
inline bool boot() {
  for (Socket &s : w.sockets) s = Socket{};
  w.restarts = 0;
  w.joined_to[0] = w.joined_with[0] = '\0';
  tn::Slots slots;
  slots.begin(&w.flash.flash, &kSmallTwoSlot, tn::bearssl_crypto());
  const tn::Choice choice = slots.choose(w.reset);
  CHECK(choice.boot == tn::Boot::kStart);
  w.area = choice.area;
  return node.begin(&w.port, &w.block, &kSmallTwoSlot, choice.area);
}

inline void settle() {
  for (int i = 0; i < 10000 && node.step(); ++i) {
  }
}
inline void pass_ms(uint64_t ms) {
  for (uint64_t passed = 0; passed < ms; passed += 50) {
    w.now_ms += 50;
    w.process_ms += 50;
    node.step();
  }
  settle();
}

// A line at the console; what it answers is in w.shown.
inline void type(const char *text) {
  w.typed_n = strlen(text);
  w.typed_at = 0;
  memcpy(w.typed, text, w.typed_n);
  w.shown_n = 0;
  w.shown[0] = '\0';
  for (int i = 0; i < 400; ++i) node.step();
}

// A connection that has just been accepted; its handle. With every handle taken it waits outside, as in the backlog of a port.
inline int dial() {
  int i = 0;
  for (int waited = 0; waited < 300; ++waited) {
    for (i = 0; i < kSockets && w.sockets[i].open;) ++i;
    if (i < kSockets) break;
    pass_ms(50);
  }
  CHECK(i < kSockets);
  ++w.knocking;
  node.step();
  return i;
}
inline void give(int i, const void *bytes, size_t n) {
  memcpy(w.sockets[i].in + w.sockets[i].in_n, bytes, n);
  w.sockets[i].in_n += n;
}

// The answer of a connection that the node has closed, or "".
inline const char *answer(int i) { return w.sockets[i].open ? "" : w.done[i].out; }
inline int status_in(const char *text) { return strncmp(text, "HTTP/1.1 ", 9) == 0 ? atoi(text + 9) : 0; }
inline const char *body_of(const char *text) {
  const char *at = strstr(text, "\r\n\r\n");
  return at == nullptr ? "" : at + 4;
}

// Sends bytes, lets the node work, lets time pass until it has closed; the answer.
inline const char *ask(const void *bytes, size_t n) {
  const int i = dial();
  give(i, bytes, n);
  settle();
  if (w.sockets[i].open) w.sockets[i].peer_closed = true;
  settle();
  return answer(i);
}
inline const char *get(const char *path) {
  char text[200];
  const int n = snprintf(text, sizeof text, "GET %s HTTP/1.1\r\nHost: node\r\n\r\n", path);
  return ask(text, static_cast<size_t>(n));
}
inline bool says(const char *text, const char *what) { return strstr(text, what) != nullptr; }
inline bool refused(const char *text, int status, const char *code) {
  char want[64];
  snprintf(want, sizeof want, "\"code\":\"%s\"", code);
  return status_in(text) == status && says(text, want) && says(text, "application/problem+json");
}

inline const char *nonce() {
  static char text[tn::kNonceChars + 1];
  tn::NodeView view;
  node.view(&view);
  strcpy(text, view.nonce);
  return text;
}
inline tn::SlotFacts facts() {
  tn::NodeView view;
  node.view(&view);
  return view.slots;
}

inline sign::Request request(const char *method, const char *path) {
  static unsigned char empty[32];
  sign::sha256("", 0, empty);
  sign::Request r = {method, path, nonce(), w.block.node, {}, empty, nullptr, nullptr, false, 0};
  memcpy(r.key, w.node_key, 32);
  return r;
}
inline const char *ask(const sign::Request &r) {
  char text[4096];
  return ask(text, sign::write_head(r, text, sizeof text));
}
inline const char *post(const char *path) { return ask(request("POST", path)); }

// A PUT, ready to be changed before it is sent.
struct Put {
  sign::TicketFields fields;
  sign::KeyPair key;
  sign::Bytes ticket;
  sign::Request request;
  const unsigned char *body;
  size_t body_n;
};
inline void sign_put(Put *p) {
  p->ticket = sign::ticket(p->fields, &p->key);
  p->request.ticket = &p->ticket;
}
inline void make_put(Put *p, int image, uint64_t sequence) {
  p->fields = fields_of(image, sequence);
  p->key = w.key;
  p->request = request("PUT", "/v1/image");
  p->request.body_sha256 = p->fields.sha256;
  p->request.has_length = true;
  p->request.length = kImageN;
  p->body = w.images[image];
  p->body_n = kImageN;
  sign_put(p);
}
inline const char *put(const Put &p) {
  static char text[16384];
  size_t n = sign::write_head(p.request, text, sizeof text);
  memcpy(text + n, p.body, p.body_n);
  return ask(text, n + p.body_n);
}
inline const char *put(int image, uint64_t sequence) {
  Put p;
  make_put(&p, image, sequence);
  return put(p);
}

}  // namespace world

#endif
