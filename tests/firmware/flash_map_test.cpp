// The ESP32 port's map of the flash, over partitions and a flash of the test's own: what it finds, and what it refuses to write.
#include <string.h>

#include "check.h"
#include "esp_ota_ops.h"
#include "ports/esp32/flash_map.h"

namespace {

// The 4 MB table of templates/node/partitions.csv.j2.
esp_partition_t table[] = {
    {nullptr, ESP_PARTITION_TYPE_DATA, ESP_PARTITION_SUBTYPE_DATA_OTA, 0xE000, 0x2000, "otadata", false},
    {nullptr, ESP_PARTITION_TYPE_APP, ESP_PARTITION_SUBTYPE_APP_OTA_0, 0x10000, 0x1E0000, "app0", false},
    {nullptr, ESP_PARTITION_TYPE_APP, ESP_PARTITION_SUBTYPE_APP_OTA_1, 0x1F0000, 0x1E0000, "app1", false},
    {nullptr, static_cast<esp_partition_type_t>(0x40), static_cast<esp_partition_subtype_t>(0), 0x3D0000, 0x2000, "tank_key", false},
    {nullptr, static_cast<esp_partition_type_t>(0x40), static_cast<esp_partition_subtype_t>(1), 0x3D2000, 0x2000, "tank_trial", false},
    {nullptr, static_cast<esp_partition_type_t>(0x40), static_cast<esp_partition_subtype_t>(2), 0x3D4000, 0x10000, "tank_run", false},
    {nullptr, static_cast<esp_partition_type_t>(0x40), static_cast<esp_partition_subtype_t>(3), 0x3E4000, 0x8000, "tank_later", false},
};
constexpr int kRows = sizeof table / sizeof table[0];
int running = 1;  // row
int hidden = -1;  // row that the table lacks
uint32_t erased, written, flash_error;

bool fails_at_most_once(uint32_t at) { return flash_error == at; }

}  // namespace

extern "C" const esp_partition_t *esp_partition_find_first(esp_partition_type_t type, esp_partition_subtype_t subtype, const char *) {
  for (int i = 0; i < kRows; ++i)
    if (i != hidden && table[i].type == type && table[i].subtype == subtype) return &table[i];
  return nullptr;
}
extern "C" const esp_partition_t *esp_ota_get_running_partition(void) { return &table[running]; }
extern "C" esp_err_t esp_flash_read(esp_flash_t *, void *buffer, uint32_t address, uint32_t length) {
  memset(buffer, 0xFF, length);
  return fails_at_most_once(address) ? ESP_FAIL : ESP_OK;
}
extern "C" esp_err_t esp_flash_write(esp_flash_t *, const void *, uint32_t address, uint32_t) {
  written = address;
  return fails_at_most_once(address) ? ESP_FAIL : ESP_OK;
}
extern "C" esp_err_t esp_flash_erase_region(esp_flash_t *, uint32_t start, uint32_t) {
  erased = start;
  return fails_at_most_once(start) ? ESP_FAIL : ESP_OK;
}

namespace {

tn::FlashMap map;

void the_whole_table_is_found() {
  CHECK(tn::read_flash_map(&map) && map.area == 0);
  const tn::Partition &p = map.partition;
  CHECK(p.layout == tn::Layout::kTwoSlot && p.credentials[0].at == 0x3D0000 && p.credentials[1].at == 0x3D1000);
  CHECK(p.records[0].at == 0x3D2000 && p.records[1].at == 0x3D3000);
  CHECK(p.images[0].at == 0x10000 && p.images[1].at == 0x1F0000 && p.images[1].bytes == 0x1E0000);
  CHECK(p.otadata.at == 0xE000 && p.otadata.bytes == 0x2000);
  CHECK(p.runs.at == 0x3D4000 && p.runs.bytes == 16 * tn::kSectorBytes && p.later.at == 0x3E4000 && p.later.bytes == 8 * tn::kSectorBytes);
  running = 2;
  CHECK(tn::read_flash_map(&map) && map.area == 1);
  running = 1;
}

void nothing_else_is_written() {
  CHECK(tn::read_flash_map(&map));
  const tn::Flash &flash = map.flash;
  const uint8_t page[256] = {};
  // boot loader, partition table, nvs, the running slot and its last sector, behind our partitions, coredump
  const uint32_t others[] = {0x0, 0x1000, 0x8000, 0x9000, 0x10000, 0x1EF000, 0x3E4000, 0x3EB000, 0x3F0000, 0x400000, 0xFFFFF000u};
  for (const uint32_t at : others) {
    erased = written = 1;
    CHECK(!flash.erase(flash.ctx, at) && !flash.program(flash.ctx, at, page, sizeof page));
    CHECK(erased == 1 && written == 1);
  }
  const uint32_t own[] = {0xE000, 0xF000, 0x1F0000, 0x3CF000, 0x3D0000, 0x3D1000, 0x3D2000, 0x3D3000, 0x3D4000, 0x3E3000};
  for (const uint32_t at : own) CHECK(flash.erase(flash.ctx, at) && erased == at && flash.program(flash.ctx, at, page, sizeof page) && written == at);
  CHECK(!flash.erase(flash.ctx, 0x1F0010));                                   // not a sector
  CHECK(!flash.program(flash.ctx, 0x3D0F80, page, sizeof page));             // out of its area into the next
  uint8_t byte;
  CHECK(flash.read(flash.ctx, 0x10000, &byte, 1) && !flash.read(flash.ctx, 0x9000, &byte, 1));
}

void failures_of_the_chip_are_told() {
  CHECK(tn::read_flash_map(&map));
  const tn::Flash &flash = map.flash;
  uint8_t byte = 0;
  flash_error = 0x3D1000;
  CHECK(!flash.read(flash.ctx, 0x3D1000, &byte, 1) && !flash.erase(flash.ctx, 0x3D1000) && !flash.program(flash.ctx, 0x3D1000, &byte, 1));
  flash_error = 0;
}

void what_lacks_cannot_be_read_or_written() {
  for (hidden = 0; hidden < kRows - 2; ++hidden) {
    if (hidden == running) continue;
    CHECK(!tn::read_flash_map(&map));
    uint8_t byte = 0;
    const uint32_t at = table[hidden].address;
    CHECK(!map.flash.read(map.flash.ctx, at, &byte, 1) && !map.flash.erase(map.flash.ctx, at));
    CHECK(!map.flash.read(map.flash.ctx, map.partition.credentials[0].at, &byte, 1) == (hidden == 3));
  }
  hidden = -1;
}

// As on a board that was flashed before there was a record of runs.
void without_a_record_of_runs_all_else_is_there() {
  hidden = kRows - 2;
  CHECK(tn::read_flash_map(&map) && map.partition.runs.bytes == 0 && map.partition.records[0].at == 0x3D2000);
  CHECK(!map.flash.erase(map.flash.ctx, 0x3D4000));
  hidden = -1;
}

}  // namespace

int main() {
  RUN(the_whole_table_is_found);
  RUN(nothing_else_is_written);
  RUN(failures_of_the_chip_are_told);
  RUN(what_lacks_cannot_be_read_or_written);
  RUN(without_a_record_of_runs_all_else_is_there);
  return check_result();
}
