// The notes of the boot loader of the ESP32 family about its two slots: two sectors, one entry of 32 bytes each (layout, CRC and
// states: esp-idf 4.4.7, bootloader_support, esp_flash_partitions.h and bootloader_common_loader.c). The entry with the higher
// sequence number counts, its slot is (sequence - 1) mod 2. The boot loader makes kNew into kPendingVerify when it starts that
// slot, and kPendingVerify into kAborted at the next start: one start to be confirmed in.
#ifndef TN_OTADATA_H
#define TN_OTADATA_H

#include "partition.h"
#include "port.h"

namespace tn {

constexpr uint32_t kOtaNew = 0, kOtaPendingVerify = 1, kOtaValid = 2, kOtaInvalid = 3, kOtaAborted = 4, kOtaUndefined = 0xFFFFFFFFu;
constexpr uint32_t kOtaNoSequence = 0xFFFFFFFFu;
constexpr uint8_t kOtaNoSlot = 0xFF;

struct OtaEntry {
  uint32_t sequence;
  uint8_t label[20];
  uint32_t state;
  uint32_t crc32;  // of the sequence alone
};
static_assert(sizeof(OtaEntry) == 32, "otadata entry layout");

struct OtaData {
  OtaEntry entries[2];
};

OtaEntry ota_entry(uint32_t sequence, uint32_t state);
bool ota_written(const OtaEntry &entry);  // has a sequence and its checksum, in whatever state
bool ota_counts(const OtaEntry &entry);   // may be started: written, and neither invalid nor aborted
uint8_t ota_slot(uint32_t sequence);      // 0 or 1
int ota_active(const OtaData &data);      // sector of the entry that counts, -1: none
uint8_t ota_selected(const OtaData &data);  // slot of that entry, kOtaNoSlot: none
// A sequence for that slot above every one in either sector, whatever its state: it names one hand-over for good.
uint32_t ota_next_sequence(const OtaData &data, uint8_t slot);

bool read_otadata(const Flash &flash, const Partition &partition, OtaData *to);
// Each of these writes one sector, reads it back, and leaves `data` as the flash is.
bool ota_hand_over(const Flash &flash, const Partition &partition, OtaData *data, uint32_t sequence, uint32_t state);
bool ota_set_state(const Flash &flash, const Partition &partition, OtaData *data, int sector, uint32_t state);

}  // namespace tn

#endif
