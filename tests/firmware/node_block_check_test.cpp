// CRC-32 and the check of a node block: every field that could lead the firmware astray is refused.
#include "check.h"
#include "core/node_block_check.h"
#include "sample_block.h"

using tn::BlockFault;
using tn::NodeBlock;

static BlockFault sealed_check(NodeBlock *block) {
  seal(block);
  return tn::check_node_block(*block);
}

// Check value of CRC-32/ISO-HDLC, the one of zlib: "123456789" gives CBF43926 (catalogue of parametrised CRC algorithms, from
// memory); tests/firmware/test_firmware_core.py compares longer texts with Python's zlib.
static void crc_has_its_check_value() {
  CHECK(tn::crc32("123456789", 9) == 0xCBF43926u);
  CHECK(tn::crc32("", 0) == 0u);
}

static void good_blocks_pass() {
  NodeBlock block = sample_block();
  CHECK(tn::check_node_block(block) == BlockFault::kNone);
  block = largest_block();
  CHECK(tn::check_node_block(block) == BlockFault::kNone);
  block.tanks[2].pump_does = 0;
  block.tanks[2].pump_pin = tn::kNoPin;
  CHECK(sealed_check(&block) == BlockFault::kNone);
}

// CRC-32 detects every error burst of up to 32 bits, so certainly each single bit (Hamming distance >= 2).
static void every_flipped_bit_is_seen() {
  const NodeBlock good = sample_block();
  for (size_t bit = 0; bit < sizeof good * 8; ++bit) {
    NodeBlock block = good;
    uint8_t *bytes = reinterpret_cast<uint8_t *>(&block);
    bytes[bit / 8] = static_cast<uint8_t>(bytes[bit / 8] ^ (1u << (bit % 8)));
    CHECK(tn::check_node_block(block) != BlockFault::kNone);
  }
}

static void head_is_checked() {
  NodeBlock block = sample_block();
  block.magic ^= 1;
  CHECK(sealed_check(&block) == BlockFault::kMagic);
  block = sample_block();
  block.version = 1;  // with no room for the button and the traits of the network
  CHECK(sealed_check(&block) == BlockFault::kVersion);
  block = sample_block();
  block.length = 1020;
  CHECK(sealed_check(&block) == BlockFault::kVersion);
  block = sample_block();
  block.crc32 ^= 0x80000000u;
  CHECK(tn::check_node_block(block) == BlockFault::kChecksum);
  block = sample_block();
  block.signing_key[0] = 2;
  CHECK(sealed_check(&block) == BlockFault::kKey);
}

static void names_are_checked() {
  NodeBlock block = sample_block();
  memset(block.node, 'a', sizeof block.node);  // not terminated
  CHECK(sealed_check(&block) == BlockFault::kName);
  const char *const bad[] = {"", "-a", "a-", "A", "a b", "a\"b", "a_b", "a.b"};
  for (const char *name : bad) {
    block = sample_block();
    strcpy(block.tanks[1].name, name);
    CHECK(sealed_check(&block) == BlockFault::kName);
    block = sample_block();
    strcpy(block.tanks[0].marks[1].name, name);
    CHECK(sealed_check(&block) == BlockFault::kName);
  }
  block = sample_block();
  strcpy(block.release, "1.0 beta");
  CHECK(sealed_check(&block) == BlockFault::kName);
  block = sample_block();
  memset(block.tanks[0].marks[2].name, 'x', sizeof block.tanks[0].marks[2].name);
  CHECK(sealed_check(&block) == BlockFault::kName);
}

static void counts_and_kinds_are_checked() {
  NodeBlock block = sample_block();
  block.tank_count = 0;
  CHECK(sealed_check(&block) == BlockFault::kCount);
  block.tank_count = 5;
  CHECK(sealed_check(&block) == BlockFault::kCount);
  block = sample_block();
  block.tanks[0].mark_count = 0;
  CHECK(sealed_check(&block) == BlockFault::kCount);
  block.tanks[0].mark_count = 5;
  CHECK(sealed_check(&block) == BlockFault::kCount);
  block = sample_block();
  block.layout = 3;
  CHECK(sealed_check(&block) == BlockFault::kKind);
  block = sample_block();
  block.payload_format = 0;
  CHECK(sealed_check(&block) == BlockFault::kKind);
  block = sample_block();
  block.network_traits = 15;
  CHECK(sealed_check(&block) == BlockFault::kNone);
  block.network_traits = 16;
  CHECK(sealed_check(&block) == BlockFault::kKind);
  block = sample_block();
  block.tanks[0].pump_does = 3;
  CHECK(sealed_check(&block) == BlockFault::kKind);
  block = sample_block();
  block.tanks[0].marks[0].pull = 3;
  CHECK(sealed_check(&block) == BlockFault::kKind);
}

static NodeBlock fed_block() {
  NodeBlock block = sample_block();
  block.feed_pins[0] = 20;
  for (size_t k = 0; k < block.tanks[0].mark_count; ++k) block.tanks[0].marks[k].pull = static_cast<uint8_t>(tn::Pull::kFed);
  return block;
}

// docs/node-interface.md, the node block: all probes of a tank are fed, from one pin that nothing else uses, or none is.
static void feed_pins_are_checked() {
  NodeBlock block = fed_block();
  CHECK(sealed_check(&block) == BlockFault::kNone);
  const uint8_t taken[] = {1, 3, 10, 4, 11};  // probes and relays of this tank and of the other
  for (uint8_t pin : taken) {
    block = fed_block();
    block.feed_pins[0] = pin;
    CHECK(sealed_check(&block) == BlockFault::kPin);
  }
  block = fed_block();
  block.clear_pin = 20;
  CHECK(sealed_check(&block) == BlockFault::kPin);
  block = fed_block();
  block.feed_pins[0] = tn::kNoPin;
  CHECK(sealed_check(&block) == BlockFault::kPin);
  for (uint8_t pull = 0; pull < 2; ++pull) {  // one of its probes has another pull-up
    block = fed_block();
    block.tanks[0].marks[1].pull = pull;
    CHECK(sealed_check(&block) == BlockFault::kPin);
  }
  block = sample_block();
  block.feed_pins[1] = 20;
  CHECK(sealed_check(&block) == BlockFault::kPin);
  block = fed_block();  // each tank its own
  block.feed_pins[1] = 20;
  for (size_t k = 0; k < 2; ++k) block.tanks[1].marks[k].pull = static_cast<uint8_t>(tn::Pull::kFed);
  CHECK(sealed_check(&block) == BlockFault::kPin);
  block.feed_pins[1] = 21;
  CHECK(sealed_check(&block) == BlockFault::kNone);
}

static void times_are_checked() {
  NodeBlock block = sample_block();
  block.debounce_ms = 0;
  CHECK(sealed_check(&block) == BlockFault::kTiming);
  block = sample_block();
  block.sample_period_ms = 0;
  CHECK(sealed_check(&block) == BlockFault::kTiming);
  block.sample_period_ms = 2001;
  CHECK(sealed_check(&block) == BlockFault::kTiming);
  block = sample_block();
  block.trial_s = 0;
  CHECK(sealed_check(&block) == BlockFault::kTiming);
}

static void pins_marks_and_pumps_are_checked() {
  NodeBlock block = sample_block();
  block.tanks[1].marks[0].pin = block.tanks[0].marks[2].pin;  // across tanks
  CHECK(sealed_check(&block) == BlockFault::kPin);
  block = sample_block();
  block.tanks[1].pump_pin = block.tanks[0].pump_pin;
  CHECK(sealed_check(&block) == BlockFault::kPin);
  block = sample_block();
  block.tanks[0].marks[0].pin = tn::kNoPin;
  CHECK(sealed_check(&block) == BlockFault::kPin);
  block = sample_block();
  block.clear_pin = block.tanks[1].marks[1].pin;  // the button is no probe
  CHECK(sealed_check(&block) == BlockFault::kPin);
  block.clear_pin = block.tanks[1].pump_pin;
  CHECK(sealed_check(&block) == BlockFault::kPin);
  block.clear_pin = 0;  // a pin of its own
  CHECK(sealed_check(&block) == BlockFault::kNone);
  block = sample_block();
  block.tanks[0].pump_does = 0;  // but a pump pin
  CHECK(sealed_check(&block) == BlockFault::kPin);
  block = sample_block();
  block.tanks[0].marks[1].height_mm = block.tanks[0].marks[0].height_mm;
  CHECK(sealed_check(&block) == BlockFault::kOrder);
  block = sample_block();
  block.tanks[0].pump_off_mark = 3;  // there are three marks
  CHECK(sealed_check(&block) == BlockFault::kPump);
  block = sample_block();
  block.tanks[0].pump_on_mark = 2;  // fills: on and off at one mark
  CHECK(sealed_check(&block) == BlockFault::kPump);
  block = sample_block();
  block.tanks[1].pump_on_mark = 0;  // drains: on at the low mark, off at the high one
  block.tanks[1].pump_off_mark = 1;
  CHECK(sealed_check(&block) == BlockFault::kPump);
}

// Pins that are asked about, in the order of their numbers, with what the block does with them: d drives, r reads.
static char asked[400];
static bool note_pin(void *but, uint8_t pin, bool drives) {
  snprintf(asked + strlen(asked), sizeof asked - strlen(asked), "%u%c ", pin, drives ? 'd' : 'r');
  return pin != *static_cast<uint8_t *>(but);
}

static void every_pin_is_walked() {
  NodeBlock block = sample_block();
  block.clear_pin = 20;
  block.feed_pins[1] = 21;
  uint8_t none = 200;
  CHECK(tn::every_pin(block, note_pin, &none));
  CHECK(strcmp(asked, "20r 10d 1r 2r 3r 11d 21d 4r 5r ") == 0);
  for (uint8_t pin = 0; pin < 30; ++pin) {
    const bool named = (pin >= 1 && pin <= 5) || pin == 10 || pin == 11 || pin == 20 || pin == 21;
    asked[0] = '\0';
    CHECK(tn::every_pin(block, note_pin, &pin) == !named);
  }
  block.tanks[1].pump_does = 0;  // what it has besides is no relay
  block.tanks[1].mark_count = 200;  // not beyond what there is
  block.tank_count = 200;
  asked[0] = '\0';
  tn::every_pin(block, note_pin, &none);
  CHECK(strstr(asked, "11d") == nullptr && strlen(asked) < sizeof asked - 10);
}

static void what_a_block_leaves_free() {
  NodeBlock block = sample_block();
  for (uint8_t pin = 0; pin < 30; ++pin) CHECK(tn::leaves_free(block, pin) == !((pin >= 1 && pin <= 5) || pin == 10 || pin == 11));
  block.crc32 ^= 1;  // damaged: the serial line is the way back in
  for (uint8_t pin = 0; pin < 30; ++pin) CHECK(tn::leaves_free(block, pin));
}

static void crc_of_arguments(int count, char **texts) {
  for (int i = 1; i < count; ++i) printf("crc %08x\n", tn::crc32(texts[i], strlen(texts[i])));
}

int main(int count, char **texts) {
  RUN(crc_has_its_check_value);
  RUN(good_blocks_pass);
  RUN(every_flipped_bit_is_seen);
  RUN(head_is_checked);
  RUN(names_are_checked);
  RUN(counts_and_kinds_are_checked);
  RUN(feed_pins_are_checked);
  RUN(times_are_checked);
  RUN(pins_marks_and_pumps_are_checked);
  RUN(every_pin_is_walked);
  RUN(what_a_block_leaves_free);
  crc_of_arguments(count, texts);
  return check_result();
}
