// Node blocks for the tests: a header tank that is filled and a sump that is drained, and the largest block there can be.
#ifndef TN_TEST_SAMPLE_BLOCK_H
#define TN_TEST_SAMPLE_BLOCK_H

#include <string.h>

#include "core/crc32.h"
#include "core/node_block.h"

inline void seal(tn::NodeBlock *block) { block->crc32 = tn::crc32(block, offsetof(tn::NodeBlock, crc32)); }

inline void set_mark(tn::TankBlock *tank, uint8_t i, const char *name, uint16_t height_mm, uint8_t pin) {
  tank->marks[i].height_mm = height_mm;
  tank->marks[i].pin = pin;
  tank->marks[i].pull = 1;
  strcpy(tank->marks[i].name, name);
  if (tank->mark_count <= i) tank->mark_count = static_cast<uint8_t>(i + 1);
}

inline void set_pump(tn::TankBlock *tank, tn::PumpDoes does, uint8_t pin, uint8_t on_mark, uint8_t off_mark) {
  tank->pump_does = static_cast<uint8_t>(does);
  tank->pump_pin = pin;
  tank->pump_active_high = does == tn::PumpDoes::kFill ? 1 : 0;  // the sample has one of each
  tank->pump_on_mark = on_mark;
  tank->pump_off_mark = off_mark;
  tank->longest_run_s = 600;
  tank->no_rise_s = 300;
  tank->shortest_off_s = 60;
}

inline void sample_head(tn::NodeBlock *block) {
  memset(block, 0, sizeof *block);
  block->magic = tn::kNodeBlockMagic;
  block->version = tn::kNodeBlockVersion;
  block->length = tn::kNodeBlockBytes;
  strcpy(block->node, "upper-barn");
  strcpy(block->site, "home-farm");
  strcpy(block->board, "esp32-devkit");
  strcpy(block->release, "1.4.0");
  for (uint8_t i = 0; i < 16; ++i) block->vendor_id[i] = i;
  for (uint8_t i = 0; i < 16; ++i) block->class_id[i] = static_cast<uint8_t>(16 * i + i);
  block->signing_key[0] = 4;
  block->debounce_ms = 2000;
  block->sample_period_ms = 100;
  block->trial_s = 300;
  block->network_lost_s = 1800;
  block->clear_pin = tn::kNoPin;
  memset(block->feed_pins, tn::kNoPin, sizeof block->feed_pins);
  block->power_up_hold_s = 10;
  block->layout = static_cast<uint8_t>(tn::Layout::kTwoSlot);
  block->payload_format = static_cast<uint8_t>(tn::PayloadFormat::kHostElf);
}

// Tank 0 `header`: pins 1 to 3 (empty, half, full), filled through pin 10, active high, from empty to full.
// Tank 1 `sump`: pins 4 and 5 (low, high), drained through pin 11, active low, from high to low.
inline tn::NodeBlock sample_block() {
  tn::NodeBlock block;
  sample_head(&block);
  block.tank_count = 2;
  strcpy(block.tanks[0].name, "header");
  set_mark(&block.tanks[0], 0, "empty", 200, 1);
  set_mark(&block.tanks[0], 1, "half", 1000, 2);
  set_mark(&block.tanks[0], 2, "full", 1850, 3);
  set_pump(&block.tanks[0], tn::PumpDoes::kFill, 10, 0, 2);
  strcpy(block.tanks[1].name, "sump");
  set_mark(&block.tanks[1], 0, "low", 100, 4);
  set_mark(&block.tanks[1], 1, "high", 900, 5);
  set_pump(&block.tanks[1], tn::PumpDoes::kDrain, 11, 1, 0);
  seal(&block);
  return block;
}

inline void fill_name(char *to, size_t room, char c) {
  memset(to, c, room - 1);
  to[room - 1] = '\0';
}

// Every text as long as it may be, every tank and mark used.
inline tn::NodeBlock largest_block() {
  tn::NodeBlock block;
  sample_head(&block);
  fill_name(block.node, sizeof block.node, 'n');
  fill_name(block.site, sizeof block.site, 's');
  fill_name(block.board, sizeof block.board, 'b');
  fill_name(block.release, sizeof block.release, '9');
  block.tank_count = tn::kTanksPerNode;
  for (uint8_t i = 0; i < tn::kTanksPerNode; ++i) {
    tn::TankBlock *tank = &block.tanks[i];
    for (uint8_t k = 0; k < tn::kMarksPerTank; ++k) {
      set_mark(tank, k, "m", static_cast<uint16_t>(65000 + k), static_cast<uint8_t>(8 * i + k));
      fill_name(tank->marks[k].name, sizeof tank->marks[k].name, 'm');
    }
    set_pump(tank, tn::PumpDoes::kDrain, static_cast<uint8_t>(8 * i + 7), 3, 0);
    fill_name(tank->name, sizeof tank->name, 't');
    tank->name[0] = static_cast<char>('0' + i);
  }
  seal(&block);
  return block;
}

#endif
