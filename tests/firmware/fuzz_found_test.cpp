// What the fuzz targets found, kept as tests: one each.
#include "check.h"
#include "core/crc32.h"
#include "core/otadata.h"
#include "core/slots.h"
#include "idf_boot.h"
#include "memory_flash.h"
#include "ports/host/crypto_bearssl.h"

namespace {

void put_image(MemoryFlash *m, const tn::Partition &map, uint8_t area, tn::SlotRecord *record) {
  uint8_t image[100] = {area, 2, 3};
  CHECK(m->flash.program(m->flash.ctx, map.images[area].at, image, sizeof image));
  record->images[area].bytes = sizeof image;
  record->images[area].present = 1;
  tn::Sha256 sha;
  tn::bearssl_crypto()->sha256_begin(&sha);
  tn::bearssl_crypto()->sha256_add(&sha, image, sizeof image);
  tn::bearssl_crypto()->sha256_end(&sha, record->images[area].sha256);
}

// A record with the last number there is: the next one would begin at 0 again, which means "none", and the older record
// would count for ever.
void a_record_without_a_successor_does_not_count() {
  static MemoryFlash m;
  fresh_flash(&m);
  tn::SlotRecord record = {};
  tn::Newest newest = tn::kNoneYet;
  CHECK(tn::write_record(m.flash, kSmallTwoSlot, &record, &newest) && newest.sector == 0 && record.number == 1);
  tn::SlotRecord last = record;
  last.number = UINT64_MAX;
  last.crc32 = tn::crc32(&last, offsetof(tn::SlotRecord, crc32));
  CHECK(m.flash.erase(m.flash.ctx, kSmallTwoSlot.records[1].at));
  CHECK(m.flash.program(m.flash.ctx, kSmallTwoSlot.records[1].at, &last, sizeof last));
  tn::SlotRecord found;
  CHECK(tn::read_record(m.flash, kSmallTwoSlot, &found, &newest) && newest.sector == 0 && found.number == 1);
  CHECK(tn::write_record(m.flash, kSmallTwoSlot, &found, &newest) && newest.sector == 1 && found.number == 2);
  CHECK(tn::read_record(m.flash, kSmallTwoSlot, &found, &newest) && newest.sector == 1 && found.number == 2);
}

// A record of a two-slot node with something pending, which only the other layout has: the node started, but would not work
// with the record, so that it could never be updated again.
void a_start_leaves_nothing_pending() {
  static MemoryFlash m;
  fresh_flash(&m);
  tn::SlotRecord record = {};
  tn::Newest newest = tn::kNoneYet;
  record.pending = tn::Pending::kRestore;
  put_image(&m, kSmallTwoSlot, 0, &record);
  CHECK(tn::write_record(m.flash, kSmallTwoSlot, &record, &newest));
  static tn::Slots slots;
  slots.begin(&m.flash, &kSmallTwoSlot, tn::bearssl_crypto());
  const tn::Choice choice = slots.choose(tn::Reset::kPowerOn);
  CHECK(choice.boot == tn::Boot::kStart && choice.area == 0 && choice.recorded);
  slots.begin(&m.flash, &kSmallTwoSlot, tn::bearssl_crypto());
  CHECK(slots.open(0));
}

// An image on trial that started too often, on an ESP32 whose boot loader's notes have no sequence left for the older image (the
// next one is 0xFFFFFFFF, which means "none"). The record already named the older image, so that the one that ran on could not
// work with it, and the node could never be updated again.
void a_boot_loader_that_cannot_be_told_leaves_the_running_image_its_record() {
  static MemoryFlash m;
  fresh_flash(&m);
  tn::SlotRecord record = {};
  put_image(&m, kSmallIdf, 0, &record);
  put_image(&m, kSmallIdf, 1, &record);
  record.active = 1;
  record.phase = tn::Phase::kOnTrial;
  record.trial_starts = tn::kTrialStarts;
  record.handed_over = 0xFFFFFFFEu;
  tn::Newest newest = tn::kNoneYet;
  CHECK(tn::write_record(m.flash, kSmallIdf, &record, &newest));
  const tn::OtaEntry last = tn::ota_entry(0xFFFFFFFEu, tn::kOtaPendingVerify);
  CHECK(tn::ota_slot(last.sequence) == 1 && m.flash.program(m.flash.ctx, kSmallIdf.otadata.at, &last, sizeof last));
  static tn::Slots slots;
  slots.begin(&m.flash, &kSmallIdf, tn::bearssl_crypto());
  CHECK(slots.arrive(1, tn::Reset::kPowerOn) == tn::Arrival::kGoOn);
  CHECK(slots.open(1));
  CHECK(memcmp(slots.facts().image, record.images[1].sha256, 32) == 0);
}

}  // namespace

int main() {
  RUN(a_record_without_a_successor_does_not_count);
  RUN(a_start_leaves_nothing_pending);
  RUN(a_boot_loader_that_cannot_be_told_leaves_the_running_image_its_record);
  return check_result();
}
