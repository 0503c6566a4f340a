#include "otadata.h"

#include <string.h>

#include "crc32.h"

namespace tn {

namespace {

constexpr uint32_t kSlots = 2;

uint32_t checksum(uint32_t sequence) { return crc32_more(0xFFFFFFFFu, &sequence, sizeof sequence); }

bool put(const Flash &flash, const Partition &partition, OtaData *data, int sector, const OtaEntry &entry) {
  const uint32_t at = partition.otadata.at + static_cast<uint32_t>(sector) * kSectorBytes;
  const bool wrote = flash.erase(flash.ctx, at) && flash.program(flash.ctx, at, &entry, sizeof entry);
  const bool read = read_otadata(flash, partition, data);
  return wrote && read && memcmp(&data->entries[sector], &entry, sizeof entry) == 0;
}

}  // namespace

OtaEntry ota_entry(uint32_t sequence, uint32_t state) {
  OtaEntry entry;
  memset(&entry, 0xFF, sizeof entry);
  entry.sequence = sequence;
  entry.state = state;
  entry.crc32 = checksum(sequence);
  return entry;
}

bool ota_written(const OtaEntry &entry) {
  return entry.sequence != kOtaNoSequence && entry.crc32 == checksum(entry.sequence);
}

bool ota_counts(const OtaEntry &entry) {
  return ota_written(entry) && entry.state != kOtaInvalid && entry.state != kOtaAborted;
}

uint8_t ota_slot(uint32_t sequence) { return static_cast<uint8_t>((sequence - 1u) % kSlots); }

int ota_active(const OtaData &data) {
  const bool first = ota_counts(data.entries[0]), second = ota_counts(data.entries[1]);
  if (first && second) return data.entries[0].sequence >= data.entries[1].sequence ? 0 : 1;
  return first ? 0 : second ? 1 : -1;
}

uint8_t ota_selected(const OtaData &data) {
  const int active = ota_active(data);
  return active < 0 ? kOtaNoSlot : ota_slot(data.entries[active].sequence);
}

uint32_t ota_next_sequence(const OtaData &data, uint8_t slot) {
  uint32_t highest = 0;
  for (const OtaEntry &entry : data.entries)
    if (ota_written(entry) && entry.sequence > highest) highest = entry.sequence;
  const uint32_t next = highest + 1u;
  return ota_slot(next) == slot ? next : next + 1u;
}

bool read_otadata(const Flash &flash, const Partition &partition, OtaData *to) {
  for (uint32_t i = 0; i < 2; ++i)
    if (!flash.read(flash.ctx, partition.otadata.at + i * kSectorBytes, &to->entries[i], sizeof to->entries[i])) return false;
  return true;
}

// Into the sector that does not hold the entry that counts: until the new one is whole, that one still does.
bool ota_hand_over(const Flash &flash, const Partition &partition, OtaData *data, uint32_t sequence, uint32_t state) {
  const int sector = ota_active(*data) == 0 ? 1 : 0;
  return put(flash, partition, data, sector, ota_entry(sequence, state));
}

bool ota_set_state(const Flash &flash, const Partition &partition, OtaData *data, int sector, uint32_t state) {
  OtaEntry entry = data->entries[sector];
  entry.state = state;
  return put(flash, partition, data, sector, entry);
}

}  // namespace tn
