#include "announcer.h"

#include "tcp_server.h"

namespace tn {

void Announcer::put(const char *key, const char *value) {
  core::remove_text(service_, key);
  core::add_text(service_, key, value);
}

void Announcer::set(const Announcement &what) {
  if (service_ == nullptr || !core::responder_runs()) {
    if (!core::responder_begin(what.node)) return;
    service_ = core::add_service(what.node, "tanknode", kHttpPort);
  }
  if (service_ == nullptr) return;
  put("id", what.node);
  put("release", what.release);
  put("img", what.image16);
  put("board", what.board);
  put("phase", what.phase);
  core::responder_announce();
}

void Announcer::goodbye() {
  if (core::responder_runs()) core::responder_end();
  service_ = nullptr;
}

void Announcer::step() {
  if (core::responder_runs()) core::responder_step();
}

}  // namespace tn
