#include "flash_map.h"

#include "idf.h"

namespace tn {

namespace {

// An area that is not there: no read from it succeeds.
constexpr Area kNoArea = {0xFFFFFFFFu, 0};

bool within(const Area &area, uint32_t at, uint32_t n) {
  return at >= area.at && n <= area.bytes && at - area.at <= area.bytes - n;
}

bool ours(const FlashMap &map, uint32_t at, uint32_t n) {
  const Partition &p = map.partition;
  const Area *const areas[] = {&p.credentials[0], &p.credentials[1], &p.records[0], &p.records[1], &p.images[0], &p.images[1], &p.otadata,
                               &p.runs};
  for (const Area *area : areas)
    if (within(*area, at, n)) return true;
  return false;
}

bool read(void *ctx, uint32_t at, void *to, uint32_t n) {
  return ours(*static_cast<FlashMap *>(ctx), at, n) && idf::esp_flash_read(nullptr, to, at, n) == ESP_OK;
}

// The running image's slot is never written.
bool may_change(const FlashMap &map, uint32_t at, uint32_t n) {
  return ours(map, at, n) && !within(map.partition.images[map.area], at, n);
}

bool program(void *ctx, uint32_t at, const void *from, uint32_t n) {
  return may_change(*static_cast<FlashMap *>(ctx), at, n) && idf::esp_flash_write(nullptr, from, at, n) == ESP_OK;
}

bool erase(void *ctx, uint32_t at) {
  return at % kSectorBytes == 0 && may_change(*static_cast<FlashMap *>(ctx), at, kSectorBytes) &&
         idf::esp_flash_erase_region(nullptr, at, kSectorBytes) == ESP_OK;
}

Area area_of(const idf::esp_partition_t *found, uint32_t least_bytes) {
  return found != nullptr && found->size >= least_bytes ? Area{found->address, found->size} : kNoArea;
}

Area find(idf::esp_partition_type_t type, idf::esp_partition_subtype_t subtype, uint32_t least_bytes) {
  return area_of(idf::esp_partition_find_first(type, subtype, nullptr), least_bytes);
}

Area find_ours(uint8_t subtype, uint32_t least_bytes) {
  return find(static_cast<idf::esp_partition_type_t>(kTankPartitionType), static_cast<idf::esp_partition_subtype_t>(subtype),
              least_bytes);
}

Area sector_of(const Area &area, uint32_t i) {
  return area.bytes == 0 ? kNoArea : Area{area.at + i * kSectorBytes, kSectorBytes};
}

}  // namespace

bool read_flash_map(FlashMap *map) {
  Partition *const p = &map->partition;
  const Area credentials = find_ours(kCredentialsSubtype, 2 * kSectorBytes);
  const Area records = find_ours(kRecordsSubtype, 2 * kSectorBytes);
  p->layout = Layout::kTwoSlot;
  p->credentials[0] = sector_of(credentials, 0);
  p->credentials[1] = sector_of(credentials, 1);
  p->records[0] = sector_of(records, 0);
  p->records[1] = sector_of(records, 1);
  p->images[0] = find(idf::ESP_PARTITION_TYPE_APP, idf::ESP_PARTITION_SUBTYPE_APP_OTA_0, kSectorBytes);
  p->images[1] = find(idf::ESP_PARTITION_TYPE_APP, idf::ESP_PARTITION_SUBTYPE_APP_OTA_1, kSectorBytes);
  p->images[2] = kNoArea;
  p->otadata = find(idf::ESP_PARTITION_TYPE_DATA, idf::ESP_PARTITION_SUBTYPE_DATA_OTA, 2 * kSectorBytes);
  const idf::esp_partition_t *const running = idf::esp_ota_get_running_partition();
  map->area = running != nullptr && running->address == p->images[1].at ? 1 : 0;
  p->runs = find_ours(kRunsSubtype, kRunsBytes);
  p->later = find_ours(kLaterSubtype, kLaterBytes);
  map->flash = Flash{map, 0xFFFFFFFFu, kSectorBytes, read, program, erase};  // the areas are its bounds
  return credentials.bytes > 0 && records.bytes > 0 && p->images[0].bytes > 0 && p->images[1].bytes > 0 &&
         p->otadata.bytes > 0;
}

}  // namespace tn
