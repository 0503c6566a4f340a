// What the fuzz targets found, kept as tests: one each.
#include "check.h"
#include "core/crc32.h"
#include "core/slots.h"
#include "memory_flash.h"
#include "ports/host/crypto_bearssl.h"

namespace {

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
  uint8_t image[100] = {1, 2, 3};
  CHECK(m.flash.program(m.flash.ctx, kSmallTwoSlot.images[0].at, image, sizeof image));
  tn::SlotRecord record = {};
  tn::Newest newest = tn::kNoneYet;
  record.pending = tn::Pending::kRestore;
  record.images[0].bytes = sizeof image;
  record.images[0].present = 1;
  tn::Sha256 sha;
  tn::bearssl_crypto()->sha256_begin(&sha);
  tn::bearssl_crypto()->sha256_add(&sha, image, sizeof image);
  tn::bearssl_crypto()->sha256_end(&sha, record.images[0].sha256);
  CHECK(tn::write_record(m.flash, kSmallTwoSlot, &record, &newest));
  static tn::Slots slots;
  slots.begin(&m.flash, &kSmallTwoSlot, tn::bearssl_crypto());
  const tn::Choice choice = slots.choose();
  CHECK(choice.boot == tn::Boot::kStart && choice.area == 0 && choice.recorded);
  slots.begin(&m.flash, &kSmallTwoSlot, tn::bearssl_crypto());
  CHECK(slots.open(0));
}

}  // namespace

int main() {
  RUN(a_record_without_a_successor_does_not_count);
  RUN(a_start_leaves_nothing_pending);
  return check_result();
}
