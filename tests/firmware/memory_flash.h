// An emulated NOR flash behind tn::Flash. Sectors of 4 KiB are erased to 0xFF, pages of 256 bytes are programmed and only clear
// bits. One operation is one sector erased or one page programmed: a longer program is split into pages, as the chips' drivers do.
// Power can go at any operation; `Damage` is what it leaves of that one operation.
// Page and sector sizes: data sheets of serial NOR flash as ESP boards carry it (common practice). What an interrupted
// operation leaves is not specified by any of them; the models are what is seen on NOR flash (common practice), and worse.
#ifndef TN_TEST_MEMORY_FLASH_H
#define TN_TEST_MEMORY_FLASH_H

#include <stdint.h>
#include <string.h>

#include "core/partition.h"
#include "core/port.h"

enum class Damage : uint8_t {
  kNotBegun,  // nothing of it was done
  kTorn,      // the first part of the page or sector was done, the rest not: torn page, half-erased sector
  kSomeBits,  // of the bits that were to change, some did and some did not
  kOneBit,    // done, but for one bit of the page or sector that is wrong
  kWeak,      // done, and it reads well a few times; then some of the bits that had changed are as before
  kGarbage,   // the page or sector holds anything
  kDone,      // all done, but nobody was told
};
constexpr int kDamages = 7;
constexpr const char *kDamageNames[kDamages] = {"not-begun", "torn", "some-bits", "one-bit", "weak", "garbage", "done"};

constexpr uint8_t kSinceMade = 1, kSinceFollowed = 2;

constexpr uint32_t kPageBytes = 256;
constexpr uint32_t kSmallFlashBytes = 10 * tn::kSectorBytes;
constexpr uint32_t kSmallRunsBytes = 3 * tn::kSectorBytes;  // behind them; only for those who keep a record of runs
constexpr uint32_t kMostFlashBytes = 144 * tn::kSectorBytes;

// Cells that were being changed when power went and do not hold: they read as changed for some reads, then as `later`.
struct WeakCells {
  uint32_t at;
  uint32_t n;  // 0: none
  uint32_t reads_left;
  uint8_t later[tn::kSectorBytes];
};

// What a boot loader that copies when it is told was told, in memory that a restart keeps and a power cut does not.
struct CopyOrder {
  bool given;
  bool copying;  // it is at it: power that goes now leaves a half copied image
  uint32_t from, to, bytes;
};

struct MemoryFlash {
  uint8_t cells[kMostFlashBytes];
  tn::Flash flash;  // its size_bytes counts
  uint32_t operations;  // since power came
  uint32_t cut_at;      // operation that power goes at, counted from 1; 0: never
  Damage damage;
  bool dead;             // no power
  bool fails;            // erase and program fail from now on, with power
  uint32_t random;       // of the damage
  uint32_t unerased;     // pages that were programmed where bits had to be set: a mistake of the caller
  WeakCells weak;
  bool copies_when_told;  // the boot loader is one of those (ESP8266)
  CopyOrder order;
  uint8_t changed[kMostFlashBytes / tn::kSectorBytes];  // sectors: kSinceMade, kSinceFollowed; see follow_flash()
  // Called before each operation; `to` is what the n cells at `at` would be.
  void (*before)(void *ctx, MemoryFlash *m, uint32_t at, const uint8_t *to, uint32_t n);
  void *before_ctx;
};

inline uint32_t next_random(uint32_t *state) {
  *state = *state * 1664525u + 1013904223u;  // constants of Numerical Recipes' quick generator (from memory)
  return *state >> 8;
}

// Some bits of `changed`; never none of them, if there are any.
inline uint8_t some_of(uint8_t changed, uint32_t *random) {
  const uint8_t some = static_cast<uint8_t>(changed & next_random(random));
  return some != 0 ? some : changed;
}

inline void give_way(MemoryFlash *m) {
  m->changed[m->weak.at / tn::kSectorBytes] = kSinceMade | kSinceFollowed;
  memcpy(m->cells + m->weak.at, m->weak.later, m->weak.n);
  m->weak.n = 0;
}

inline void make_weak(MemoryFlash *m, uint32_t at, const uint8_t *to, uint32_t n) {
  if (m->weak.n > 0) give_way(m);
  m->weak.at = at;
  m->weak.n = n;
  m->weak.reads_left = 1 + next_random(&m->random) % 40;
  for (uint32_t i = 0; i < n; ++i) {
    const uint8_t changed = static_cast<uint8_t>(m->cells[at + i] ^ to[i]);
    const bool holds = next_random(&m->random) % 4 != 0 && i != n / 2;
    m->weak.later[i] = holds ? to[i] : static_cast<uint8_t>(to[i] ^ some_of(changed, &m->random));
  }
  memcpy(m->cells + at, to, n);
}

inline bool overlap(uint32_t at, uint32_t n, const WeakCells &weak) { return at < weak.at + weak.n && weak.at < at + n; }

// Those of the n cells at `at` that `to` wants to be 0 were programmed, whatever they were before. A chip programs a cell until it
// verifies it against a stricter level than reading does, so that one which only just reads as 0 gets what it lacks; a cell that is
// to be 1 is left alone, so that one which an erase left weak stays so until the next erase. Derived from how NOR flash programs
// and verifies (common practice); no data sheet of a board's flash promises it.
inline void firm_cells(MemoryFlash *m, uint32_t at, const uint8_t *to, uint32_t n) {
  WeakCells *weak = &m->weak;
  for (uint32_t i = 0; weak->n > 0 && i < n; ++i) {
    if (at + i < weak->at || at + i >= weak->at + weak->n) continue;
    uint8_t *later = &weak->later[at + i - weak->at];
    *later = static_cast<uint8_t>(*later & to[i]);
  }
}

// Are n cells at `at` programmed with what they hold?
inline bool is_firming(const MemoryFlash &m, uint32_t at, const uint8_t *to, uint32_t n) {
  return n < tn::kSectorBytes && memcmp(m.cells + at, to, n) == 0;
}

// What is left of programming n cells at `at` with what they hold. Not one of them is to change and each is driven, if at all, to
// where it is: so they read as before, and only how many of the weak ones are firm now is open.
inline void damage_firming(MemoryFlash *m, uint32_t at, const uint8_t *to, uint32_t n) {
  const uint32_t done = 1 + next_random(&m->random) % (n - 1), bit = next_random(&m->random) % (n * 8);
  switch (m->damage) {
    case Damage::kNotBegun: break;
    case Damage::kTorn: firm_cells(m, at, to, done); break;
    case Damage::kSomeBits:
      for (uint32_t i = 0; i < n; ++i) {
        const uint8_t some = static_cast<uint8_t>(to[i] | next_random(&m->random));
        firm_cells(m, at + i, &some, 1);
      }
      break;
    case Damage::kOneBit:
      firm_cells(m, at, to, bit / 8);
      firm_cells(m, at + bit / 8 + 1, to + bit / 8 + 1, n - bit / 8 - 1);
      break;
    case Damage::kWeak: break;  // as weak as they were
    case Damage::kGarbage:      // and those that were weak give way at once
      if (m->weak.n > 0 && overlap(at, n, m->weak)) give_way(m);
      break;
    case Damage::kDone: firm_cells(m, at, to, n); break;
  }
}

// Weak cells that have changed since, from `was`, are what they were changed to; the others stay as weak as they were.
inline void follow_weak(MemoryFlash *m, uint32_t at, const uint8_t *was, uint32_t n) {
  WeakCells *weak = &m->weak;
  for (uint32_t i = 0; weak->n > 0 && i < n; ++i) {
    if (at + i < weak->at || at + i >= weak->at + weak->n) continue;
    uint8_t *later = &weak->later[at + i - weak->at];
    const uint8_t is = m->cells[at + i], changed = static_cast<uint8_t>(was[i] ^ is);
    *later = static_cast<uint8_t>((*later & ~changed) | (is & changed));
  }
}

// What is left of the operation that would have made the n cells at `at` equal to `to`.
inline void damage_cells(MemoryFlash *m, uint32_t at, const uint8_t *to, uint32_t n) {
  uint8_t *cells = m->cells + at;
  if (is_firming(*m, at, to, n)) return damage_firming(m, at, to, n);
  m->changed[at / tn::kSectorBytes] = kSinceMade | kSinceFollowed;
  const uint32_t done = 1 + next_random(&m->random) % (n - 1), bit = next_random(&m->random) % (n * 8);
  uint8_t was[tn::kSectorBytes];
  memcpy(was, cells, n);
  switch (m->damage) {
    case Damage::kNotBegun: break;
    case Damage::kTorn: memcpy(cells, to, done); break;
    case Damage::kSomeBits:
      for (uint32_t i = 0; i < n; ++i)
        cells[i] = static_cast<uint8_t>(cells[i] ^ (static_cast<uint32_t>(cells[i] ^ to[i]) & next_random(&m->random)));
      break;
    case Damage::kOneBit:
      memcpy(cells, to, n);
      cells[bit / 8] = static_cast<uint8_t>(cells[bit / 8] ^ 1u << bit % 8);
      break;
    case Damage::kWeak: make_weak(m, at, to, n); break;
    case Damage::kGarbage:
      for (uint32_t i = 0; i < n; ++i) cells[i] = static_cast<uint8_t>(next_random(&m->random));
      break;
    case Damage::kDone: memcpy(cells, to, n); break;
  }
  if (m->damage != Damage::kWeak) follow_weak(m, at, was, n);
}

// Every erase and program comes through here.
inline bool change_cells(MemoryFlash *m, uint32_t at, const uint8_t *to, uint32_t n) {
  if (m->dead || m->fails) return false;
  if (m->before != nullptr) m->before(m->before_ctx, m, at, to, n);
  ++m->operations;
  m->dead = m->operations == m->cut_at;
  m->changed[at / tn::kSectorBytes] = kSinceMade | kSinceFollowed;
  if (m->dead) {
    damage_cells(m, at, to, n);
    return false;
  }
  memcpy(m->cells + at, to, n);
  if (n < tn::kSectorBytes) firm_cells(m, at, to, n);
  return true;
}

inline bool within(const MemoryFlash *m, uint32_t at, uint32_t n) {
  return at <= m->flash.size_bytes && n <= m->flash.size_bytes - at;
}

inline bool memory_read(void *ctx, uint32_t at, void *to, uint32_t n) {
  MemoryFlash *m = static_cast<MemoryFlash *>(ctx);
  if (m->dead || !within(m, at, n)) return false;
  if (m->weak.n > 0 && overlap(at, n, m->weak) && m->weak.reads_left-- == 0) give_way(m);
  memcpy(to, m->cells + at, n);
  return true;
}

inline bool memory_program(void *ctx, uint32_t at, const void *from, uint32_t n) {
  MemoryFlash *m = static_cast<MemoryFlash *>(ctx);
  if (m->dead || !within(m, at, n)) return false;
  const uint8_t *bytes = static_cast<const uint8_t *>(from);
  while (n > 0) {
    uint8_t to[kPageBytes];
    const uint32_t room = kPageBytes - at % kPageBytes, part = n < room ? n : room;
    memcpy(to, bytes, part);
    const uint8_t *const cells = m->cells + at;
    for (uint32_t i = 0; i < part; ++i) to[i] = static_cast<uint8_t>(to[i] & cells[i]);
    if (memcmp(to, bytes, part) != 0) ++m->unerased;
    if (!change_cells(m, at, to, part)) return false;
    at += part;
    bytes += part;
    n -= part;
  }
  return true;
}

inline bool memory_erase(void *ctx, uint32_t at) {
  MemoryFlash *m = static_cast<MemoryFlash *>(ctx);
  uint8_t blank[tn::kSectorBytes];
  memset(blank, 0xFF, sizeof blank);
  if (m->dead || at % tn::kSectorBytes != 0 || !within(m, at, sizeof blank)) return false;
  if (m->weak.n > 0 && overlap(at, sizeof blank, m->weak)) give_way(m);  // at the latest: this erase, which heals them, may be cut
  return change_cells(m, at, blank, sizeof blank);
}

inline void power_on(MemoryFlash *m) {
  m->dead = false;
  m->operations = 0;
  m->cut_at = 0;
  m->order = CopyOrder{false, false, 0, 0, 0};
}

inline void fresh_flash(MemoryFlash *m, uint32_t bytes = kSmallFlashBytes) {
  memset(m->cells, 0xFF, bytes);
  m->flash = tn::Flash{m, bytes, tn::kSectorBytes, memory_read, memory_program, memory_erase};
  power_on(m);
  m->damage = Damage::kNotBegun;
  m->fails = false;
  m->random = 0;
  m->unerased = 0;
  m->weak.n = 0;
  m->copies_when_told = false;
  m->before = nullptr;
  memset(m->changed, kSinceMade | kSinceFollowed, sizeof m->changed);
}

// A copy that stands on its own, but for the cells. Weak cells are copied only where there are any.
inline void copy_all_but_cells(MemoryFlash *to, const MemoryFlash &from) {
  to->flash = from.flash;
  to->flash.ctx = to;
  to->operations = from.operations;
  to->cut_at = from.cut_at;
  to->damage = from.damage;
  to->dead = from.dead;
  to->fails = from.fails;
  to->random = from.random;
  to->unerased = from.unerased;
  to->weak.n = from.weak.n;
  if (from.weak.n > 0) to->weak = from.weak;
  to->copies_when_told = from.copies_when_told;
  to->order = from.order;
  to->before = nullptr;
}

// Makes `to` a copy of `from`. Once it is one, only what changed in either of them since is copied: a flash has one follower, and
// follows one, at a time.
inline void follow_flash(MemoryFlash *to, MemoryFlash *from) {
  copy_all_but_cells(to, *from);
  for (uint32_t at = 0; at < from->flash.size_bytes; at += tn::kSectorBytes) {
    uint8_t *mine = &to->changed[at / tn::kSectorBytes], *theirs = &from->changed[at / tn::kSectorBytes];
    if ((*mine & kSinceMade) == 0 && (*theirs & kSinceFollowed) == 0) continue;
    memcpy(to->cells + at, from->cells + at, tn::kSectorBytes);
    *mine = kSinceFollowed;
    *theirs = static_cast<uint8_t>(*theirs & ~kSinceFollowed);
  }
}

constexpr tn::Partition kSmallTwoSlot = {
    tn::Layout::kTwoSlot,
    {{0, tn::kSectorBytes}, {0x9000, tn::kSectorBytes}},
    {{0x1000, tn::kSectorBytes}, {0x2000, tn::kSectorBytes}},
    {{0x3000, 0x2000}, {0x5000, 0x2000}, {0, 0}},
    {0, 0},
    {kSmallFlashBytes, kSmallRunsBytes},
};
constexpr tn::Partition kSmallCopyInPlace = {
    tn::Layout::kCopyInPlace,
    {{0, tn::kSectorBytes}, {0x9000, tn::kSectorBytes}},
    {{0x1000, tn::kSectorBytes}, {0x2000, tn::kSectorBytes}},
    {{0x3000, 0x2000}, {0x5000, 0x2000}, {0x7000, 0x2000}},
    {0, 0},
    {kSmallFlashBytes, kSmallRunsBytes},
};

#endif
