// The boot loader of the ESP32 family with its roll-back switched on, emulated: what it reads, writes and starts, after
// bootloader_utility.c of esp-idf 4.4.7 (get_selected_boot_partition, load_boot_image, set_actual_ota_seq) for two slots and no
// factory image. It knows nothing of the trial record. Its writes are flash operations like any other: power can go at them.
#ifndef TN_TEST_IDF_BOOT_H
#define TN_TEST_IDF_BOOT_H

#include <string.h>

#include "core/crc32.h"
#include "core/partition.h"
#include "memory_flash.h"

namespace idf {

constexpr uint32_t kNew = 0, kPending = 1, kValid = 2, kInvalid = 3, kAborted = 4, kUndefined = 0xFFFFFFFFu;

struct Entry {
  uint32_t ota_seq;
  uint8_t seq_label[20];
  uint32_t ota_state;
  uint32_t crc;
};

// Whether the image in a slot passes the boot loader's check of its checksum and digest.
using CanStart = bool (*)(const MemoryFlash &m, const tn::Partition &partition, uint8_t slot);

inline uint32_t seq_crc(const Entry &e) { return tn::crc32_more(UINT32_MAX, &e.ota_seq, 4); }
inline bool invalid(const Entry &e) { return e.ota_seq == UINT32_MAX || e.ota_state == kInvalid || e.ota_state == kAborted; }
inline bool valid(const Entry &e) { return !invalid(e) && e.crc == seq_crc(e); }
inline bool initial(const Entry &e) { return e.ota_seq == UINT32_MAX || e.crc != seq_crc(e); }

inline void read_entries(MemoryFlash *m, const tn::Partition &p, Entry e[2]) {
  for (uint32_t i = 0; i < 2; ++i) memory_read(m, p.otadata.at + i * tn::kSectorBytes, &e[i], sizeof e[i]);
}

inline void write_entry(MemoryFlash *m, const tn::Partition &p, uint32_t sector, const Entry &e) {
  const uint32_t at = p.otadata.at + sector * tn::kSectorBytes;
  if (memory_erase(m, at)) memory_program(m, at, &e, sizeof e);
}

// -1: all partitions are tried.
inline int select_slot(MemoryFlash *m, const tn::Partition &p, bool *has_initial_contents) {
  Entry e[2];
  read_entries(m, p, e);
  for (uint32_t i = 0; i < 2; ++i) {
    if (e[i].ota_state != kPending) continue;
    e[i].ota_state = kAborted;
    write_entry(m, p, i, e[i]);
  }
  *has_initial_contents = false;
  if (invalid(e[0]) && invalid(e[1])) {
    *has_initial_contents = initial(e[0]) && initial(e[1]);
    return 0;
  }
  const bool a = valid(e[0]), b = valid(e[1]);
  if (!a && !b) return -1;
  const uint32_t active = a && b ? (e[0].ota_seq >= e[1].ota_seq ? 0u : 1u) : a ? 0u : 1u;
  if (e[active].ota_state == kNew) {
    e[active].ota_state = kPending;
    write_entry(m, p, active, e[active]);
  }
  return static_cast<int>((e[active].ota_seq - 1u) % 2u);
}

// The slot that is started; -1: none is fit to, or power went.
inline int start(MemoryFlash *m, const tn::Partition &p, CanStart can_start) {
  bool has_initial_contents;
  const int selected = select_slot(m, p, &has_initial_contents);
  const int order[4] = {selected, selected - 1, selected + 1, selected + 2};
  for (const int slot : order) {
    if (m->dead) return -1;
    if (slot < 0 || slot > 1 || !can_start(*m, p, static_cast<uint8_t>(slot))) continue;
    if (has_initial_contents) {
      Entry e;
      memset(&e, 0xFF, sizeof e);
      e.ota_seq = static_cast<uint32_t>(slot) + 1u;
      e.ota_state = kValid;
      e.crc = seq_crc(e);
      write_entry(m, p, 0, e);
    }
    return m->dead ? -1 : slot;
  }
  return -1;
}

}  // namespace idf

constexpr tn::Partition kSmallIdf = {
    tn::Layout::kTwoSlot,
    {{0, tn::kSectorBytes}, {0x9000, tn::kSectorBytes}},
    {{0x1000, tn::kSectorBytes}, {0x2000, tn::kSectorBytes}},
    {{0x3000, 0x2000}, {0x5000, 0x2000}, {0, 0}},
    {0x7000, 0x2000},
    {kSmallFlashBytes, kSmallRunsBytes},
};

#endif
