// Node::begin and Node::step on painted stacks of their own: the linker hands each call of the two to the functions here
// (-Wl,--wrap). What the test's own flash and sockets need is not counted: those run on another stack. A source apart from the
// callers: ld's relaxation for lx106 moves a wrapped symbol twice when one object both calls and defines it.
#include "core/node.h"
#include "measure.h"

extern "C" {
bool __real__ZN2tn4Node5beginEPKNS_4PortEPKNS_9NodeBlockEPKNS_9PartitionEh(tn::Node *, const tn::Port *, const tn::NodeBlock *,
                                                                           const tn::Partition *, uint8_t);
bool __wrap__ZN2tn4Node5beginEPKNS_4PortEPKNS_9NodeBlockEPKNS_9PartitionEh(tn::Node *, const tn::Port *, const tn::NodeBlock *,
                                                                           const tn::Partition *, uint8_t);
bool __real__ZN2tn4Node4stepEv(tn::Node *);
bool __wrap__ZN2tn4Node4stepEv(tn::Node *);
}

namespace {

PaintedStack begin_stack, step_stack, aside;

// ---------------------------------------------------------------- the test's side, on a stack aside
const tn::Port *given;
tn::Port port;
tn::Flash flash;

struct FlashCall {
  enum { kRead, kProgram, kErase } what;
  uint32_t at, n;
  void *to;
  const void *from;
  bool done;
};
void do_flash(void *with) {
  FlashCall *const call = static_cast<FlashCall *>(with);
  const tn::Flash &real = *given->flash;
  call->done = call->what == FlashCall::kRead      ? real.read(real.ctx, call->at, call->to, call->n)
               : call->what == FlashCall::kProgram ? real.program(real.ctx, call->at, call->from, call->n)
                                                   : real.erase(real.ctx, call->at);
}
bool flash_call(FlashCall call) {
  aside.run(do_flash, &call);
  return call.done;
}
bool read_aside(void *, uint32_t at, void *to, uint32_t n) { return flash_call({FlashCall::kRead, at, n, to, nullptr, false}); }
bool program_aside(void *, uint32_t at, const void *from, uint32_t n) {
  return flash_call({FlashCall::kProgram, at, n, nullptr, from, false});
}
bool erase_aside(void *, uint32_t at) { return flash_call({FlashCall::kErase, at, 0, nullptr, nullptr, false}); }

void do_close(void *with) { given->close(given->ctx, *static_cast<int *>(with)); }
void close_aside(void *, int handle) { aside.run(do_close, &handle); }

struct Es256Call {
  const uint8_t *point, *digest, *sig;
  tn::Verified good;
};
tn::Crypto crypto;
void do_es256(void *with) {
  Es256Call *const c = static_cast<Es256Call *>(with);
  c->good = given->crypto->es256_verify(c->point, c->digest, c->sig);
}
tn::Verified es256_aside(const uint8_t point[65], const uint8_t digest[32], const uint8_t sig[64]) {
  Es256Call call = {point, digest, sig, tn::Verified::kBad};
  aside.run(do_es256, &call);
  return call.good;
}

// The node's port: the test's as it is now, but for what runs aside.
void copy_port() {
  port = *given;
  port.flash = &flash;
  crypto = *given->crypto;
  if (es256_is_aside) crypto.es256_verify = es256_aside;
  port.crypto = &crypto;
  port.close = close_aside;
}

// ---------------------------------------------------------------- the node's side, on a painted stack
struct Call {
  tn::Node *node;
  const tn::NodeBlock *block;
  const tn::Partition *partition;
  uint8_t area;
  bool result;
};
void do_begin(void *with) {
  Call *const c = static_cast<Call *>(with);
  c->result = __real__ZN2tn4Node5beginEPKNS_4PortEPKNS_9NodeBlockEPKNS_9PartitionEh(c->node, &port, c->block, c->partition, c->area);
}
void do_step(void *with) {
  Call *const c = static_cast<Call *>(with);
  c->result = __real__ZN2tn4Node4stepEv(c->node);
}

}  // namespace

bool __wrap__ZN2tn4Node5beginEPKNS_4PortEPKNS_9NodeBlockEPKNS_9PartitionEh(tn::Node *node, const tn::Port *real,
                                                                           const tn::NodeBlock *block,
                                                                           const tn::Partition *partition, uint8_t area) {
  given = real;
  flash = *real->flash;
  flash.read = read_aside;
  flash.program = program_aside;
  flash.erase = erase_aside;
  copy_port();
  Call call = {node, block, partition, area, false};
  begin_stack.run(do_begin, &call);
  return call.result;
}

bool __wrap__ZN2tn4Node4stepEv(tn::Node *node) {
  copy_port();  // a test may have changed it
  Call call = {node, nullptr, nullptr, 0, false};
  step_stack.run(do_step, &call);
  return call.result;
}

bool es256_is_aside = false;

size_t begin_stack_bytes() { return begin_stack.deepest_bytes(); }
size_t step_stack_bytes() { return step_stack.deepest_bytes(); }
