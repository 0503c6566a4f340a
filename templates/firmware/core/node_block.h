// The node block: what makes a class's image one node's image. Fixed size, versioned, checksummed, no secrets.
// fleet/render/node_block.py writes the same layout; tests/test_node_block.py compares the two, offset by offset.
#ifndef TN_NODE_BLOCK_H
#define TN_NODE_BLOCK_H

#include <stddef.h>
#include <stdint.h>

namespace tn {

constexpr uint32_t kNodeBlockMagic = 0x424E4B54u;  // "TKNB" in memory order
constexpr uint16_t kNodeBlockVersion = 2;
constexpr size_t kNodeBlockBytes = 1024;
constexpr size_t kTanksPerNode = 4;
constexpr size_t kMarksPerTank = 4;
constexpr uint8_t kNoPin = 0xFF;

// What is out of the ordinary about the site's network. One bit each.
enum NetworkTrait : uint8_t {
  kHiddenNetwork = 1u,  // the access point does not say its name
  kHighChannels = 2u,   // it may be on channel 12, 13 or 14
  kWpa3Only = 4u,
  kNo80211n = 8u        // 802.11n does not work with it
};
constexpr uint8_t kNetworkTraits = kHiddenNetwork | kHighChannels | kWpa3Only | kNo80211n;

enum class PumpDoes : uint8_t { kNone = 0, kFill = 1, kDrain = 2 };
// kExternal: a resistor to the supply; kFed: one to the tank's feed pin, which is HIGH only while its probes are read.
enum class Pull : uint8_t { kExternal = 0, kInternalUp = 1, kFed = 2 };
enum class Layout : uint8_t { kTwoSlot = 1, kCopyInPlace = 2 };
enum class PayloadFormat : uint8_t { kHostElf = 1, kEsp8266Bin = 2, kEsp32Bin = 3 };

// A probe's wet reading is LOW: the water joins the pin to the common electrode against the pull-up.
struct MarkBlock {
  uint16_t height_mm;
  uint8_t pin;
  uint8_t pull;  // Pull
  char name[12];  // NUL-terminated
};
static_assert(sizeof(MarkBlock) == 16, "mark block layout");

struct TankBlock {
  char name[64];
  uint8_t mark_count;  // 1..4; marks from the lowest up
  uint8_t pump_does;   // PumpDoes
  uint8_t pump_pin;    // kNoPin without a pump
  uint8_t pump_active_high;
  uint8_t pump_on_mark;   // index from 0. Fill: on when this mark is dry. Drain: on when it is wet.
  uint8_t pump_off_mark;  // Fill: off when this mark is wet. Drain: off when it is dry.
  uint16_t first_rise_s;  // the same as no_rise_s, of a run that began as the level left the on mark; 0: no such watch
  uint32_t longest_run_s;   // 0: no bound
  uint32_t no_rise_s;       // running this long with no mark changing towards the goal is a fault; 0: no watch
  uint32_t shortest_off_s;
  MarkBlock marks[kMarksPerTank];
};
static_assert(sizeof(TankBlock) == 148, "tank block layout");
inline bool has_pump(const TankBlock &tank) { return tank.pump_does != static_cast<uint8_t>(PumpDoes::kNone); }

struct NodeBlock {
  uint32_t magic;
  uint16_t version;
  uint16_t length;
  char node[64];
  char site[64];
  char board[32];
  char release[24];
  uint8_t vendor_id[16];
  uint8_t class_id[16];
  uint8_t signing_key[65];  // P-256 point, uncompressed
  uint8_t reserved_key[3];
  uint8_t key_id[8];
  uint16_t debounce_ms;
  uint16_t sample_period_ms;
  uint16_t trial_s;
  uint16_t power_up_hold_s;
  uint8_t layout;          // Layout
  uint8_t payload_format;  // PayloadFormat
  uint8_t tank_count;
  uint8_t reserved_flags;
  TankBlock tanks[kTanksPerNode];
  uint32_t network_lost_s;  // the network is away for longer: the node looks for it only now and then; 0: seek for ever
  uint8_t clear_pin;       // a button to ground, held to clear faults that stay; kNoPin: none
  uint8_t network_traits;  // NetworkTrait bits
  uint8_t feed_pins[kTanksPerNode];  // of each tank: what feeds the resistors of all its probes, which then are kFed; kNoPin: none
  uint8_t reserved[106];
  uint32_t crc32;  // IEEE 802.3 CRC-32 (as zlib) of all bytes before it
};
static_assert(sizeof(NodeBlock) == kNodeBlockBytes, "node block layout");
static_assert(offsetof(NodeBlock, crc32) == kNodeBlockBytes - 4, "checksum comes last");

}  // namespace tn

// In its own translation unit (templates/node/node_block.cpp.j2) and section, so that a tool can write over it.
extern "C" const volatile tn::NodeBlock tn_node_block;

#endif
