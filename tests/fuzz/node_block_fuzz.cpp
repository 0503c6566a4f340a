// The node block reader. An input is a block; the mutator seals most of them anew, so that more than the checksum is tried. A
// block that passes must be one that the rest can rely on: control runs on it, the documents fit their rooms, and nothing but
// its own pump relays is ever driven, all of them off at first.
#include "core/control.h"
#include "core/crc32.h"
#include "core/metrics.h"
#include "core/node_block_check.h"
#include "core/state_doc.h"
#include "firmware/sample_block.h"
#include "fuzz.h"

namespace {

constexpr size_t kDocumentBytes = 8192;  // more than the longest has

struct World {
  const tn::NodeBlock *block;
  uint64_t now_ms;
  uint32_t wet;  // bit per pin, modulo 32
  bool begun;
  uint8_t feed;  // that is on, or kNoPin
};

const tn::TankBlock *tank_of_pump(const tn::NodeBlock &block, uint8_t pin) {
  for (size_t i = 0; i < block.tank_count; ++i)
    if (block.tanks[i].pump_pin == pin && block.tanks[i].pump_does != 0) return &block.tanks[i];
  return nullptr;
}

bool is_probe(const tn::NodeBlock &block, uint8_t pin) {
  for (size_t i = 0; i < block.tank_count; ++i)
    for (size_t k = 0; k < block.tanks[i].mark_count; ++k)
      if (block.tanks[i].marks[k].pin == pin) return true;
  return false;
}

bool probe_is_low(void *ctx, uint8_t pin, uint8_t pull) {
  const World *w = static_cast<World *>(ctx);
  MUST(is_probe(*w->block, pin) && pull <= 2);
  MUST((pull == static_cast<uint8_t>(tn::Pull::kFed)) == (w->feed != tn::kNoPin));
  return ((w->wet >> (pin & 31u)) & 1u) != 0;
}
void feed(void *ctx, uint8_t pin, bool on) {
  World *w = static_cast<World *>(ctx);
  MUST(!is_probe(*w->block, pin) && tank_of_pump(*w->block, pin) == nullptr && w->feed == (on ? tn::kNoPin : pin));
  w->feed = on ? pin : tn::kNoPin;
}
void relay(void *ctx, uint8_t pin, bool level_high) {
  const World *w = static_cast<World *>(ctx);
  const tn::TankBlock *tank = tank_of_pump(*w->block, pin);
  MUST(tank != nullptr && !is_probe(*w->block, pin));
  if (!w->begun) MUST(level_high == (tank->pump_active_high == 0));
}
uint64_t now_ms(void *ctx) { return static_cast<World *>(ctx)->now_ms; }

void run_control(const tn::NodeBlock &block, tn::Control *control) {
  World w = {&block, 1000, block.crc32, false, tn::kNoPin};
  tn::Port port = {};
  port.ctx = &w;
  port.probe_is_low = probe_is_low;
  port.relay = relay;
  port.feed = feed;
  port.now_ms = port.process_ms = now_ms;
  tn::control_begin(control, &block, &port);
  w.begun = true;
  const uint64_t step_ms = static_cast<uint64_t>(block.debounce_ms) + 1000u * block.power_up_hold_s;
  for (int i = 0; i < 8; ++i) {
    w.now_ms += i % 3 == 0 ? block.sample_period_ms : step_ms;
    if (i == 5) w.wet = ~w.wet;
    tn::control_step(control, i == 7);
    MUST(w.feed == tn::kNoPin);
  }
  for (size_t i = 0; i < block.tank_count; ++i) MUST(!control->tanks[i].pump.on);  // updating
  tn::control_rest(control);
  tn::control_all_off(control);
  control->port = nullptr;
}

void write_documents(const tn::NodeBlock &block, const tn::Control &control) {
  static uint8_t digest[32];
  tn::NodeView view = {};
  view.node = tn::name_in_block(block);
  view.block = &block;
  view.control = &control;
  view.slots.image = view.slots.older_image = view.slots.last_image = digest;
  view.slots.last_reason = tn::Reason::kNoHealthyBoot;
  view.nonce = "AAECAwQFBgcICQoLDA0ODw";
  char *const room = static_cast<char *>(malloc(kDocumentBytes));
  for (int which = 0; which < 2; ++which) {
    tn::Text text = tn::text_into(room, kDocumentBytes);
    if (which == 0) tn::put_state(&text, view);
    else tn::put_metrics(&text, view);
    MUST(!text.over && text.n > 0);
  }
  free(room);
}

void check_promises(const tn::NodeBlock &block) {
  MUST(memchr(block.node, 0, sizeof block.node) != nullptr && strcmp(tn::name_in_block(block), block.node) == 0);
  MUST(block.tank_count >= 1 && block.tank_count <= tn::kTanksPerNode && block.sample_period_ms > 0);
  for (size_t i = 0; i < block.tank_count; ++i) {
    const tn::TankBlock &tank = block.tanks[i];
    MUST(tank.mark_count >= 1 && tank.mark_count <= tn::kMarksPerTank);
    for (size_t k = 1; k < tank.mark_count; ++k) MUST(tank.marks[k].height_mm > tank.marks[k - 1].height_mm);
    if (tank.pump_does == 0) continue;
    MUST(tank.pump_on_mark < tank.mark_count && tank.pump_off_mark < tank.mark_count && tank.pump_on_mark != tank.pump_off_mark);
  }
}

}  // namespace

extern "C" size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t n, size_t most, unsigned seed) {
  n = LLVMFuzzerMutate(data, n, most < sizeof(tn::NodeBlock) ? most : sizeof(tn::NodeBlock));
  if (n < sizeof(tn::NodeBlock) || seed % 16 == 0) return n;
  tn::NodeBlock block;
  memcpy(&block, data, sizeof block);
  block.magic = tn::kNodeBlockMagic;
  block.version = tn::kNodeBlockVersion;
  block.length = tn::kNodeBlockBytes;
  seal(&block);
  memcpy(data, &block, sizeof block);
  return n;
}

extern "C" int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n) {
  static tn::Control control;
  tn::NodeBlock *const block = static_cast<tn::NodeBlock *>(calloc(1, sizeof(tn::NodeBlock)));
  memcpy(block, data, n < sizeof *block ? n : sizeof *block);
  const tn::BlockFault fault = tn::check_node_block(*block);
  MUST(strcmp(tn::block_fault_text(fault), "unknown") != 0);
  const char *const name = tn::name_in_block(*block);
  MUST(memchr(name, 0, sizeof block->node) != nullptr);
  if (fault == tn::BlockFault::kNone) {
    check_promises(*block);
    run_control(*block, &control);
    write_documents(*block, control);
  }
  free(block);
  return 0;
}
