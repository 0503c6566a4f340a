// tn::Flash over the chip's own flash, and where things lie in its 4 MiB.
//
// The map. The chip runs code only from the first MiB, so each image area is one MiB: an image fits when its file, rounded up to
// whole sectors, is no longer than 0x100000 bytes, and the board's slot_bytes keeps it below. The linker script
// eagle.flash.4m.ld has no file system, and keeps the last 20 KiB (0x3FB000 on) for the system's own settings.
#ifndef TN_ESP8266_CHIP_FLASH_H
#define TN_ESP8266_CHIP_FLASH_H

#include "../../core/partition.h"
#include "../../core/port.h"

namespace tn {

constexpr uint32_t kChipFlashBytes = 0x400000;
constexpr uint32_t kSystemSettingsAt = 0x3FB000;
constexpr Partition kEsp8266Partition = {
    Layout::kCopyInPlace,
    {{0x3F7000, kSectorBytes}, {0x3FA000, kSectorBytes}},
    {{0x3F8000, kSectorBytes}, {0x3F9000, kSectorBytes}},
    {{0x000000, 0x100000}, {0x100000, 0x100000}, {0x200000, 0x100000}},
    {0, 0},
    {0x3E0000, kRunsBytes},
    {0x3D8000, kLaterBytes},
};
static_assert(kEsp8266Partition.credentials[1].at + kSectorBytes <= kSystemSettingsAt, "the system's settings are its own");

Flash *chip_flash();  // erase and program refuse the running area and the system's settings

}  // namespace tn

#endif
