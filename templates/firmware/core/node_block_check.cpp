#include "node_block_check.h"

#include <string.h>

#include "crc32.h"

namespace tn {

namespace {

bool is_lower_or_digit(char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'); }

bool terminated(const char *s, size_t room) { return memchr(s, '\0', room) != nullptr && s[0] != '\0'; }

// RFC 1123 host label, lower case.
bool is_label(const char *s, size_t room) {
  if (!terminated(s, room)) return false;
  const size_t n = strlen(s);
  for (size_t i = 0; i < n; ++i) {
    if (!is_lower_or_digit(s[i]) && s[i] != '-') return false;
  }
  return s[0] != '-' && s[n - 1] != '-';
}

// Release texts and board ids: letters, digits and the signs that versions use.
bool is_release(const char *s, size_t room) {
  if (!terminated(s, room)) return false;
  for (; *s != '\0'; ++s) {
    const bool upper = *s >= 'A' && *s <= 'Z';
    if (!is_lower_or_digit(*s) && !upper && strchr(".+_-", *s) == nullptr) return false;
  }
  return true;
}

struct PinSet {
  uint8_t used[32];  // one bit for each of 256 pins
};

// False if the pin is none, or already taken.
bool take_pin(PinSet *set, uint8_t pin) {
  const uint8_t bit = static_cast<uint8_t>(1u << (pin & 7u));
  if (pin == kNoPin || (set->used[pin >> 3] & bit) != 0) return false;
  set->used[pin >> 3] = static_cast<uint8_t>(set->used[pin >> 3] | bit);
  return true;
}

BlockFault check_marks(const TankBlock &tank, uint8_t feed_pin, PinSet *pins) {
  if (tank.mark_count == 0 || tank.mark_count > kMarksPerTank) return BlockFault::kCount;
  const bool feeds = feed_pin != kNoPin;
  if (feeds && !take_pin(pins, feed_pin)) return BlockFault::kPin;
  for (size_t i = 0; i < tank.mark_count; ++i) {
    const MarkBlock &mark = tank.marks[i];
    if (!is_label(mark.name, sizeof mark.name)) return BlockFault::kName;
    if (mark.pull > static_cast<uint8_t>(Pull::kFed)) return BlockFault::kKind;
    if ((mark.pull == static_cast<uint8_t>(Pull::kFed)) != feeds) return BlockFault::kPin;
    if (!take_pin(pins, mark.pin)) return BlockFault::kPin;
    if (i > 0 && mark.height_mm <= tank.marks[i - 1].height_mm) return BlockFault::kOrder;
  }
  return BlockFault::kNone;
}

BlockFault check_pump(const TankBlock &tank, PinSet *pins) {
  if (tank.pump_does > static_cast<uint8_t>(PumpDoes::kDrain) || tank.pump_active_high > 1) return BlockFault::kKind;
  if (!has_pump(tank)) {
    return tank.pump_pin == kNoPin ? BlockFault::kNone : BlockFault::kPin;
  }
  if (!take_pin(pins, tank.pump_pin)) return BlockFault::kPin;
  const bool fills = tank.pump_does == static_cast<uint8_t>(PumpDoes::kFill);
  const uint8_t low = fills ? tank.pump_on_mark : tank.pump_off_mark;
  const uint8_t high = fills ? tank.pump_off_mark : tank.pump_on_mark;
  return low < high && high < tank.mark_count ? BlockFault::kNone : BlockFault::kPump;
}

BlockFault check_head(const NodeBlock &block) {
  if (!is_label(block.node, sizeof block.node) || !is_label(block.site, sizeof block.site)) return BlockFault::kName;
  if (!is_release(block.board, sizeof block.board)) return BlockFault::kName;
  if (!is_release(block.release, sizeof block.release)) return BlockFault::kName;
  if (block.signing_key[0] != 4) return BlockFault::kKey;
  if (block.debounce_ms == 0 || block.sample_period_ms == 0 || block.trial_s == 0) return BlockFault::kTiming;
  if (block.sample_period_ms > block.debounce_ms) return BlockFault::kTiming;
  if (block.layout < 1 || block.layout > static_cast<uint8_t>(Layout::kCopyInPlace)) return BlockFault::kKind;
  if (block.payload_format < 1 || block.payload_format > static_cast<uint8_t>(PayloadFormat::kEsp32Bin)) {
    return BlockFault::kKind;
  }
  if ((block.network_traits & ~static_cast<unsigned>(kNetworkTraits)) != 0) return BlockFault::kKind;
  return block.tank_count == 0 || block.tank_count > kTanksPerNode ? BlockFault::kCount : BlockFault::kNone;
}

}  // namespace

BlockFault check_node_block(const NodeBlock &block) {
  if (block.magic != kNodeBlockMagic) return BlockFault::kMagic;
  if (block.version != kNodeBlockVersion || block.length != kNodeBlockBytes) return BlockFault::kVersion;
  if (crc32(&block, offsetof(NodeBlock, crc32)) != block.crc32) return BlockFault::kChecksum;
  BlockFault fault = check_head(block);
  PinSet pins;
  memset(&pins, 0, sizeof pins);
  if (fault == BlockFault::kNone && block.clear_pin != kNoPin) take_pin(&pins, block.clear_pin);
  for (size_t i = 0; i < block.tank_count && fault == BlockFault::kNone; ++i) {
    const TankBlock &tank = block.tanks[i];
    if (!is_label(tank.name, sizeof tank.name)) return BlockFault::kName;
    fault = check_marks(tank, block.feed_pins[i], &pins);
    if (fault == BlockFault::kNone) fault = check_pump(tank, &pins);
  }
  return fault;
}

bool every_pin(const NodeBlock &block, PinTest holds, void *ctx) {
  if (block.clear_pin != kNoPin && !holds(ctx, block.clear_pin, false)) return false;
  for (size_t i = 0; i < block.tank_count && i < kTanksPerNode; ++i) {
    const TankBlock &tank = block.tanks[i];
    if (has_pump(tank) && !holds(ctx, tank.pump_pin, true)) return false;
    if (block.feed_pins[i] != kNoPin && !holds(ctx, block.feed_pins[i], true)) return false;
    for (size_t k = 0; k < tank.mark_count && k < kMarksPerTank; ++k)
      if (!holds(ctx, tank.marks[k].pin, false)) return false;
  }
  return true;
}

bool leaves_free(const NodeBlock &block, uint8_t pin) {
  return check_node_block(block) != BlockFault::kNone ||
         every_pin(block, [](void *ctx, uint8_t used, bool) { return used != *static_cast<uint8_t *>(ctx); }, &pin);
}

const char *name_in_block(const NodeBlock &block) { return is_label(block.node, sizeof block.node) ? block.node : ""; }

const char *block_fault_text(BlockFault fault) {
  switch (fault) {
    case BlockFault::kNone: return "none";
    case BlockFault::kMagic: return "not a node block";
    case BlockFault::kVersion: return "version or length";
    case BlockFault::kChecksum: return "checksum";
    case BlockFault::kName: return "name";
    case BlockFault::kTiming: return "timing";
    case BlockFault::kKind: return "unknown kind";
    case BlockFault::kCount: return "count of tanks or marks";
    case BlockFault::kPin: return "pin missing or used twice";
    case BlockFault::kOrder: return "marks not rising";
    case BlockFault::kPump: return "marks of the pump";
    case BlockFault::kKey: return "signing key";
  }
  return "unknown";
}

}  // namespace tn
