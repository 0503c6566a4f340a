#include "chip_flash.h"

#include "core_names.h"

namespace tn {

namespace {

bool inside(uint32_t at, uint32_t n) { return at <= kChipFlashBytes && n <= kChipFlashBytes - at; }

// Only the boot loader writes over the running image, and only the system its settings.
bool ours(uint32_t at, uint32_t n) {
  return inside(at, n) && at >= kEsp8266Partition.images[1].at && at + n <= kSystemSettingsAt;
}

// Reading, erasing and programming a whole area takes seconds; each part of it shows that the loop is alive.
bool flash_read(void *, uint32_t at, void *to, uint32_t n) {
  core::feed_watchdog();
  return inside(at, n) && core::flash_read(at, static_cast<uint8_t *>(to), n);
}

bool flash_program(void *, uint32_t at, const void *from, uint32_t n) {
  core::feed_watchdog();
  return ours(at, n) && core::flash_program(at, static_cast<const uint8_t *>(from), n);
}

bool flash_erase(void *, uint32_t at) {
  core::feed_watchdog();
  return at % kSectorBytes == 0 && ours(at, kSectorBytes) && core::flash_erase(at / kSectorBytes);
}

Flash flash = {nullptr, kChipFlashBytes, kSectorBytes, flash_read, flash_program, flash_erase};

}  // namespace

Flash *chip_flash() { return &flash; }

}  // namespace tn
