#include "pins.h"

#include "../../core/node_block_check.h"
#include "core_names.h"

namespace tn {

namespace {

constexpr unsigned kSettleUs = 1000;  // for the pull-up to lift a pin and its cable: 100 kOhm and 7.2 nF, 72 m of it, to three quarters of the supply
// The same through a resistor outside that a pin feeds: 200 kOhm, 5 % more, and 10 nF (100 m of cable) make 2.9 ms.
constexpr unsigned kFeedSettleUs = 3000;
constexpr size_t kBlockWords = sizeof(NodeBlock) / sizeof(uint32_t);

bool is_relay(const NodeBlock &block, uint8_t pin, bool *active_high) {
  for (size_t i = 0; i < block.tank_count; ++i) {
    const TankBlock &tank = block.tanks[i];
    if (!has_pump(tank) || tank.pump_pin != pin) continue;
    *active_high = tank.pump_active_high != 0;
    return true;
  }
  return false;
}

}  // namespace

bool has_pin(uint8_t pin) { return pin < core::kPins && !core::is_flash_pin(pin); }

bool probe_is_low(uint8_t pin, Pull pull) {
  if (!has_pin(pin)) return false;
  if (pull == Pull::kInternalUp) {
    core::pin_in_pulled_up(pin);
    core::wait_us(kSettleUs);
  } else {
    core::pin_in(pin);
  }
  const bool low = core::pin_is_low(pin);
  if (pull == Pull::kInternalUp) core::pin_in(pin);
  return low;
}

void feed_probes(uint8_t pin, bool on) {
  if (!has_pin(pin)) return;
  if (!on) {
    core::pin_in(pin);
    return;
  }
  core::pin_level(pin, true);
  core::pin_out(pin);
  core::wait_us(kFeedSettleUs);
}

void relay_to(uint8_t pin, bool high) {
  if (!has_pin(pin)) return;
  core::pin_level(pin, high);
  core::pin_out(pin);
}

void copy_block(NodeBlock *to) {
  const volatile uint32_t *from = reinterpret_cast<const volatile uint32_t *>(&tn_node_block);
  uint32_t *words = reinterpret_cast<uint32_t *>(to);
  for (size_t i = 0; i < kBlockWords; ++i) words[i] = from[i];
}

void pins_off() {
  NodeBlock block;
  copy_block(&block);
  const bool good = check_node_block(block) == BlockFault::kNone;
  for (uint8_t pin = 0; pin < core::kPins; ++pin) {
    bool active_high = false;
    if (!has_pin(pin)) continue;
    if (good && is_relay(block, pin, &active_high)) {
      relay_to(pin, !active_high);
    } else {
      core::pin_in(pin);
    }
  }
}

}  // namespace tn
