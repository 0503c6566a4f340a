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

// Where the table writes the greatest value of a kind as a number.
static_assert(static_cast<unsigned>(Pull::kFed) == 2 && static_cast<unsigned>(PumpDoes::kDrain) == 2, "node_block_table.h");
static_assert(static_cast<unsigned>(Layout::kCopyInPlace) == 2, "node_block_table.h");
static_assert(static_cast<unsigned>(PayloadFormat::kEsp32Bin) == 3, "node_block_table.h");
static_assert(kNetworkTraits == 15 && kTanksPerNode == 4 && kMarksPerTank == 4, "node_block_table.h");

bool within(uint32_t value, uint32_t least, uint32_t most) { return value >= least && value <= most; }

BlockFault check_fields(const NodeBlock &block) {
#define TN_BLOCK_TEXT(field, is) \
  if (!is(block.field, sizeof block.field)) return BlockFault::kName;
#define TN_BLOCK_RANGE(field, least, most, fault) \
  if (!within(block.field, least, most)) return BlockFault::fault;
#include "node_block_table.h"
  return block.sample_period_ms > block.debounce_ms ? BlockFault::kTiming : BlockFault::kNone;
}

BlockFault check_fields(const TankBlock &tank) {
#define TN_TANK_TEXT(field, is) \
  if (!is(tank.field, sizeof tank.field)) return BlockFault::kName;
#define TN_TANK_RANGE(field, least, most, fault) \
  if (!within(tank.field, least, most)) return BlockFault::fault;
#include "node_block_table.h"
  return BlockFault::kNone;
}

BlockFault check_fields(const MarkBlock &mark) {
#define TN_MARK_TEXT(field, is) \
  if (!is(mark.field, sizeof mark.field)) return BlockFault::kName;
#define TN_MARK_RANGE(field, least, most, fault) \
  if (!within(mark.field, least, most)) return BlockFault::fault;
#include "node_block_table.h"
  return BlockFault::kNone;
}

BlockFault check_marks(const TankBlock &tank, uint8_t feed_pin, PinSet *pins) {
  const bool feeds = feed_pin != kNoPin;
  if (feeds && !take_pin(pins, feed_pin)) return BlockFault::kPin;
  for (size_t i = 0; i < tank.mark_count; ++i) {
    const MarkBlock &mark = tank.marks[i];
    const BlockFault fault = check_fields(mark);
    if (fault != BlockFault::kNone) return fault;
    if ((mark.pull == static_cast<uint8_t>(Pull::kFed)) != feeds) return BlockFault::kPin;
    if (!take_pin(pins, mark.pin)) return BlockFault::kPin;
    if (i > 0 && mark.height_mm <= tank.marks[i - 1].height_mm) return BlockFault::kOrder;
  }
  return BlockFault::kNone;
}

BlockFault check_pump(const TankBlock &tank, PinSet *pins) {
  if (!has_pump(tank)) {
    return tank.pump_pin == kNoPin ? BlockFault::kNone : BlockFault::kPin;
  }
  if (!take_pin(pins, tank.pump_pin)) return BlockFault::kPin;
  const bool fills = tank.pump_does == static_cast<uint8_t>(PumpDoes::kFill);
  const uint8_t low = fills ? tank.pump_on_mark : tank.pump_off_mark;
  const uint8_t high = fills ? tank.pump_off_mark : tank.pump_on_mark;
  return low < high && high < tank.mark_count ? BlockFault::kNone : BlockFault::kPump;
}

}  // namespace

BlockFault check_node_block(const NodeBlock &block) {
  if (block.magic != kNodeBlockMagic) return BlockFault::kMagic;
  if (block.version != kNodeBlockVersion || block.length != kNodeBlockBytes) return BlockFault::kVersion;
  if (crc32(&block, offsetof(NodeBlock, crc32)) != block.crc32) return BlockFault::kChecksum;
  BlockFault fault = check_fields(block);
  PinSet pins;
  memset(&pins, 0, sizeof pins);
  if (fault == BlockFault::kNone && block.clear_pin != kNoPin) take_pin(&pins, block.clear_pin);
  for (size_t i = 0; i < block.tank_count && fault == BlockFault::kNone; ++i) {
    const TankBlock &tank = block.tanks[i];
    fault = check_fields(tank);
    if (fault == BlockFault::kNone) fault = check_marks(tank, block.feed_pins[i], &pins);
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
#define TN_FAULT(name, words) \
  case BlockFault::name: return words;
#include "node_block_table.h"
  }
  return "unknown";
}

}  // namespace tn
