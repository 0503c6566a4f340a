// tn::Flash in memory, with the rules of NOR flash, that can lose power at any erase or program and damage what it was at.
#ifndef TN_TEST_MEMORY_FLASH_H
#define TN_TEST_MEMORY_FLASH_H

#include <stdint.h>
#include <string.h>

#include "core/partition.h"
#include "core/port.h"

// What a power cut leaves of the operation that it interrupts.
enum class Damage : uint8_t { kNothingDone, kFirstHalf, kSomeBits, kGarbage, kAllDone };
constexpr int kDamages = 5;

constexpr uint32_t kMemoryFlashBytes = 9 * tn::kSectorBytes;

struct MemoryFlash {
  uint8_t cells[kMemoryFlashBytes];
  tn::Flash flash;
  uint32_t operations;  // erases and programs since power came
  uint32_t cut_at;      // operation that power goes at, counted from 1; 0: never
  Damage damage;
  bool dead;          // no power
  bool fails;         // erase and program fail from now on, with power
  uint32_t random;    // of the damage
};

inline uint8_t next_random(MemoryFlash *m) {
  m->random = m->random * 1664525u + 1013904223u;
  return static_cast<uint8_t>(m->random >> 24);
}

// Every call of erase or program comes through here. `to` is what the cells would be afterwards.
inline bool change_cells(MemoryFlash *m, uint32_t at, const uint8_t *to, uint32_t n) {
  if (m->dead || m->fails || at > kMemoryFlashBytes || n > kMemoryFlashBytes - at) return false;
  ++m->operations;
  if (m->operations != m->cut_at) {
    memcpy(m->cells + at, to, n);
    return true;
  }
  m->dead = true;
  for (uint32_t i = 0; i < n; ++i) {
    uint8_t *cell = m->cells + at + i;
    const uint8_t old = *cell, mask = next_random(m);
    switch (m->damage) {
      case Damage::kNothingDone: break;
      case Damage::kFirstHalf: *cell = i < n / 2 ? to[i] : old; break;
      case Damage::kSomeBits: *cell = static_cast<uint8_t>((to[i] & mask) | (old & ~mask)); break;
      case Damage::kGarbage: *cell = mask; break;
      case Damage::kAllDone: *cell = to[i]; break;
    }
  }
  return false;
}

inline bool memory_read(void *ctx, uint32_t at, void *to, uint32_t n) {
  const MemoryFlash *m = static_cast<MemoryFlash *>(ctx);
  if (m->dead || at > kMemoryFlashBytes || n > kMemoryFlashBytes - at) return false;
  memcpy(to, m->cells + at, n);
  return true;
}

inline bool memory_program(void *ctx, uint32_t at, const void *from, uint32_t n) {
  MemoryFlash *m = static_cast<MemoryFlash *>(ctx);
  uint8_t to[tn::kSectorBytes];
  if (n > sizeof to || at > kMemoryFlashBytes || n > kMemoryFlashBytes - at) return false;
  const uint8_t *bytes = static_cast<const uint8_t *>(from);
  for (uint32_t i = 0; i < n; ++i) to[i] = static_cast<uint8_t>(m->cells[at + i] & bytes[i]);
  return change_cells(m, at, to, n);
}

inline bool memory_erase(void *ctx, uint32_t at) {
  uint8_t blank[tn::kSectorBytes];
  memset(blank, 0xFF, sizeof blank);
  return at % tn::kSectorBytes == 0 && change_cells(static_cast<MemoryFlash *>(ctx), at, blank, sizeof blank);
}

inline void power_on(MemoryFlash *m) {
  m->dead = false;
  m->operations = 0;
  m->cut_at = 0;
}

inline void fresh_flash(MemoryFlash *m) {
  memset(m, 0, sizeof *m);
  memset(m->cells, 0xFF, sizeof m->cells);
  m->flash = tn::Flash{m, kMemoryFlashBytes, tn::kSectorBytes, memory_read, memory_program, memory_erase};
}

// A copy that stands on its own.
inline void copy_flash(MemoryFlash *to, const MemoryFlash &from) {
  *to = from;
  to->flash.ctx = to;
}

constexpr tn::Partition kSmallTwoSlot = {
    tn::Layout::kTwoSlot,
    {0, tn::kSectorBytes},
    {{0x1000, tn::kSectorBytes}, {0x2000, tn::kSectorBytes}},
    {{0x3000, 0x2000}, {0x5000, 0x2000}, {0, 0}},
};
constexpr tn::Partition kSmallCopyInPlace = {
    tn::Layout::kCopyInPlace,
    {0, tn::kSectorBytes},
    {{0x1000, tn::kSectorBytes}, {0x2000, tn::kSectorBytes}},
    {{0x3000, 0x2000}, {0x5000, 0x2000}, {0x7000, 0x2000}},
};

#endif
