// Is a node block whole and sensible? Nothing else in the core reads a block that has not passed this.
#ifndef TN_NODE_BLOCK_CHECK_H
#define TN_NODE_BLOCK_CHECK_H

#include "node_block.h"

namespace tn {

enum class BlockFault : uint8_t {
  kNone = 0,
  kMagic,     // not a node block
  kVersion,   // another version or length
  kChecksum,  // CRC-32 differs
  kName,      // a text is empty, not terminated, or has a character that its kind does not allow
  kTiming,    // debounce, sample period or trial of zero, or a sample period longer than the debounce
  kKind,      // layout, payload format, pull or pump kind unknown
  kCount,     // tanks or marks: none, or more than there is room for
  kPin,       // a pin is missing, or used twice; a feed pin without probes that it feeds
  kOrder,     // marks not rising
  kPump,      // on and off marks do not fit the marks or what the pump does
  kKey        // signing key is not an uncompressed point
};

BlockFault check_node_block(const NodeBlock &block);
const char *block_fault_text(BlockFault fault);

// Whether that holds of every pin that the block names: buttons and probes, and what it drives: relays and feeds.
using PinTest = bool (*)(void *ctx, uint8_t pin, bool drives);
bool every_pin(const NodeBlock &block, PinTest holds, void *ctx);

// Whether a pin of the board's own, as of its serial line, is no probe's, relay's, feed's or button's. A damaged block names none.
bool leaves_free(const NodeBlock &block, uint8_t pin);

// The node's name in a block that may be damaged, or "" when it is none: enough for such a node to be found and told to go back.
const char *name_in_block(const NodeBlock &block);

}  // namespace tn

#endif
