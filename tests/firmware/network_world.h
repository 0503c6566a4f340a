// What the tests of new network credentials add to a node's made-up world.
#ifndef TN_TEST_NETWORK_WORLD_H
#define TN_TEST_NETWORK_WORLD_H

#include "node_world.h"
#include "seal_helper.h"

namespace world {

constexpr const char *kOldName = "barn-wifi", *kOldPassphrase = "not-to-be-shown";
constexpr const char *kNewName = "yard-wifi", *kNewPassphrase = "nor is this one";

// A PUT of new credentials, ready to be changed before it is sent; `promised_n` goes to Content-Length.
struct Give {
  sealed::Body body;
  unsigned char digest[32];
  sign::Request request;
};
inline void sign_give(Give *g) {
  sign::sha256(g->body.at, sizeof g->body.at, g->digest);
  g->request = request("PUT", "/v1/network");
  g->request.body_sha256 = g->digest;
  g->request.has_length = true;
  g->request.length = sizeof g->body.at;
}
inline void make_give(Give *g, const sealed::Text &text, const char *node = nullptr) {
  g->body = sealed::body_of(text, w.node_key, node == nullptr ? w.block.node : node, 9);
  sign_give(g);
}
// Bytes of the whole request; `to` has room for 4096.
inline size_t write_give(const Give &g, unsigned char *to, size_t body_n = tn::kNetworkBodyBytes) {
  const size_t n = sign::write_head(g.request, reinterpret_cast<char *>(to), 4096);
  memcpy(to + n, g.body.at, body_n);
  return n + body_n;
}
inline const char *give_request(const Give &g, size_t body_n = tn::kNetworkBodyBytes) {
  unsigned char text[4096];
  return ask(text, write_give(g, text, body_n));
}
inline const char *give_network(const char *name = kNewName, const char *passphrase = kNewPassphrase, unsigned trial_s = 600) {
  Give g;
  make_give(&g, sealed::text_of(name, passphrase, trial_s));
  return give_request(g);
}
inline tn::NetworkFacts network() {
  tn::NodeView view;
  node.view(&view);
  return view.network;
}
inline bool on(tn::Which which) { return network().joined && network().on == which; }
inline bool on_trial() { return network().phase == tn::NetworkPhase::kOnTrial; }

}  // namespace world

#endif
