// The slot record reader, and the boot loader's and the node's work on what it reads. An input: one byte of switches, the two
// records, and the two entries of an ESP32's boot loader. Switches: 1 copy-in-place, 2 all areas alike, 4 the first area damaged,
// 8 keep instead of going back, 16 a boot loader that is not ours, 32 that one started slot b. The mutator seals most records anew
// and makes their digests fit the image areas, so that more than checksums is tried. Whatever the records say: what our own boot
// loader starts has bytes that match its digest, each start ends, nothing but the map's areas is written, and the state that is left
// can be read again.
#include "core/crc32.h"
#include "core/otadata.h"
#include "core/slots.h"
#include "fuzz.h"

namespace {

constexpr size_t kRecordN = sizeof(tn::SlotRecord);
constexpr uint32_t kImageMost = 200;  // bytes of an image area that images use: hashing takes most of the time

constexpr size_t kEntriesAt = 1 + 2 * kRecordN;
constexpr size_t kInputN = kEntriesAt + 2 * sizeof(tn::OtaEntry);
constexpr int kMostStarts = 16;  // after which a node has settled
constexpr uint32_t kFlashBytes = 7 * tn::kSectorBytes;
constexpr tn::Area kFirstRecord = {0x1000, tn::kSectorBytes}, kSecondRecord = {0x2000, tn::kSectorBytes};
constexpr tn::Partition kTwoSlots = {tn::Layout::kTwoSlot, {{0, tn::kSectorBytes}, {0, 0}}, {kFirstRecord, kSecondRecord},
                                     {{0x3000, 0x1000}, {0x4000, 0x1000}, {0, 0}}};
constexpr tn::Partition kInPlace = {tn::Layout::kCopyInPlace, {{0, tn::kSectorBytes}, {0, 0}}, {kFirstRecord, kSecondRecord},
                                    {{0x3000, 0x1000}, {0x4000, 0x1000}, {0x5000, 0x1000}}};

constexpr tn::Partition kChipSlots = {tn::Layout::kTwoSlot, {{0, tn::kSectorBytes}, {0, 0}}, {kFirstRecord, kSecondRecord},
                                      {{0x3000, 0x1000}, {0x4000, 0x1000}, {0, 0}}, {0x5000, 0x2000}};

struct Cells {
  uint8_t at[kFlashBytes];
};

bool others_boot_loader(uint8_t switches) { return (switches & 16u) != 0; }
const tn::Partition &map_of(uint8_t switches) {
  return (switches & 1u) != 0 ? kInPlace : others_boot_loader(switches) ? kChipSlots : kTwoSlots;
}

// Each area has its own content; with bit 1 of the switches all have the same, with bit 2 the first is damaged.
uint8_t cell(uint8_t switches, uint8_t area, uint32_t i) {
  const uint8_t of = (switches & 2u) != 0 ? 0 : area;
  const uint8_t byte = static_cast<uint8_t>(i * 7u + of * 61u);
  return area == 0 && i == 3 && (switches & 4u) != 0 ? static_cast<uint8_t>(byte ^ 1u) : byte;
}

void digest_of(uint8_t switches, uint8_t area, uint32_t bytes, uint8_t out[32]) {
  tn::Sha256 sha;
  uint8_t image[kImageMost];
  for (uint32_t i = 0; i < bytes; ++i) image[i] = cell(switches & static_cast<uint8_t>(~4u), area, i);
  fuzz_crypto().sha256_begin(&sha);
  fuzz_crypto().sha256_add(&sha, image, bytes);
  fuzz_crypto().sha256_end(&sha, out);
}

// NOR flash with the rules of one, which nothing may step beyond, nor write the credentials.
bool cells_read(void *ctx, uint32_t at, void *to, uint32_t n) {
  MUST(at <= kFlashBytes && n <= kFlashBytes - at);
  memcpy(to, static_cast<Cells *>(ctx)->at + at, n);
  return true;
}
__attribute__((no_sanitize("address", "undefined", "coverage"))) bool cells_program(void *ctx, uint32_t at, const void *from, uint32_t n) {
  MUST(at >= kFirstRecord.at && at <= kFlashBytes && n <= kFlashBytes - at);
  uint8_t *to = static_cast<Cells *>(ctx)->at + at;
  for (uint32_t i = 0; i < n; ++i) to[i] = static_cast<uint8_t>(to[i] & static_cast<const uint8_t *>(from)[i]);
  return true;
}
bool cells_erase(void *ctx, uint32_t at) {
  MUST(at >= kFirstRecord.at && at < kFlashBytes && at % tn::kSectorBytes == 0);
  memset(static_cast<Cells *>(ctx)->at + at, 0xFF, tn::kSectorBytes);
  return true;
}

bool is_whole(const tn::Flash &flash, const tn::Partition &map, uint8_t area, const tn::ImageRecord &image) {
  if (image.bytes == 0 || image.bytes > map.images[area].bytes) return false;
  static uint8_t bytes[tn::kSectorBytes];
  uint8_t digest[32];
  tn::Sha256 sha;
  MUST(flash.read(flash.ctx, map.images[area].at, bytes, image.bytes));
  fuzz_crypto().sha256_begin(&sha);
  fuzz_crypto().sha256_add(&sha, bytes, image.bytes);
  fuzz_crypto().sha256_end(&sha, digest);
  return memcmp(digest, image.sha256, 32) == 0;
}

void check_record(const tn::SlotRecord &record, const tn::Partition &map) {
  MUST(record.layout == map.layout && record.active < (map.layout == tn::Layout::kTwoSlot ? 2 : 1));
  for (int i = 0; i < 3; ++i) MUST(record.images[i].bytes <= map.images[i].bytes && record.images[i].ticket_bytes <= 512);
}

void live(const tn::Flash &flash, const tn::Partition &map, uint8_t switches, uint8_t area) {
  static tn::Slots node;
  node.begin(&flash, &map, &fuzz_crypto());
  MUST(node.open(area));
  const tn::SlotFacts facts = node.facts();
  MUST(tn::phase_text(facts.phase) != nullptr && facts.image_bytes <= map.images[area].bytes);
  const uint8_t *ticket = nullptr;
  MUST(node.ticket(&ticket) <= tn::kTicketBytes);
  const tn::Code told = (switches & 8u) != 0 ? node.keep() : node.put_back(tn::Reason::kTold);
  tn::SlotRecord record;
  tn::Newest newest;
  MUST(tn::read_record(flash, map, &record, &newest));
  MUST(told != tn::Code::kFlashFailed || record.number == UINT64_MAX - 1);
  check_record(record, map);
}

bool no_more_numbers(const tn::Flash &flash, const tn::Partition &map) {
  tn::SlotRecord record;
  tn::Newest newest;
  return tn::read_record(flash, map, &record, &newest) && record.number == UINT64_MAX - 1;
}

// Every second start comes after a brown-out, if the input says so: else a restart that the node asked for.
tn::Reset cause_of(uint8_t switches, int starts) {
  return (switches & 128u) != 0 && starts % 2 == 0 ? tn::Reset::kBrownOut : tn::Reset::kRestart;
}

// A boot loader that copies when told: each copy is done as ordered, and then the node starts again.
void start_in_place(const tn::Flash &flash, const tn::Partition &map, uint8_t switches) {
  static tn::Slots node;
  for (int starts = 0; starts < kMostStarts; ++starts) {
    node.begin(&flash, &map, &fuzz_crypto());
    const tn::InPlace what = node.start_in_place(cause_of(switches, starts));
    if (!what.copy) {
      if (what.choice.boot == tn::Boot::kNoRecord || !what.choice.recorded) return;
      return live(flash, map, switches, what.choice.area);
    }
    MUST(what.to == map.images[0].at && (what.from == map.images[1].at || what.from == map.images[2].at));
    MUST(what.bytes > 0 && what.bytes <= map.images[0].bytes);
    static uint8_t image[tn::kSectorBytes];
    MUST(flash.read(flash.ctx, what.from, image, what.bytes) && flash.erase(flash.ctx, what.to));
    if (starts % 2 == 0 && (switches & 64u) != 0) image[0] = static_cast<uint8_t>(image[0] ^ 0x80u);  // it did not arrive
    MUST(flash.program(flash.ctx, what.to, image, what.bytes));
  }
  MUST(!"a node that orders copies for ever");
}

// The boot loader of the ESP32 family, which starts what its own notes select.
void start_beside_notes(const tn::Flash &flash, const tn::Partition &map, uint8_t switches) {
  static tn::Slots node;
  uint8_t area = (switches & 32u) != 0 ? 1 : 0;
  for (int starts = 0; starts < kMostStarts; ++starts) {
    node.begin(&flash, &map, &fuzz_crypto());
    const tn::Arrival arrival = node.arrive(area, cause_of(switches, starts));
    if (arrival == tn::Arrival::kNoRecord || no_more_numbers(flash, map)) return;
    if (arrival == tn::Arrival::kGoOn) return live(flash, map, switches, area);
    tn::OtaData notes;
    MUST(tn::read_otadata(flash, map, &notes) && tn::ota_selected(notes) <= 1);
    area = tn::ota_selected(notes);
  }
  MUST(!"a node that restarts for ever");
}

tn::SlotRecord record_in(const uint8_t *data, size_t n, size_t which) {
  tn::SlotRecord record;
  memset(&record, 0xFF, sizeof record);
  const size_t at = 1 + which * kRecordN;
  if (n > at) memcpy(&record, data + at, n - at < kRecordN ? n - at : kRecordN);
  return record;
}

void make_sensible(tn::SlotRecord *record, uint8_t switches, unsigned seed) {
  const tn::Partition &map = map_of(switches);
  record->magic = 0x4C534B54u;  // "TKSL": core/slots_record.cpp keeps these to itself
  record->version = 1;
  record->length = kRecordN;
  if (seed % 8 != 0) {
    record->layout = map.layout;
    record->active = static_cast<uint8_t>(record->active % (map.layout == tn::Layout::kTwoSlot ? 2u : 1u));
    record->phase = static_cast<tn::Phase>(static_cast<uint8_t>(record->phase) % 3u);
    record->pending = static_cast<tn::Pending>(static_cast<uint8_t>(record->pending) % 3u);
    record->last_reason = static_cast<tn::Reason>(static_cast<uint8_t>(record->last_reason) % 6u);
    record->pending_reason = static_cast<tn::Reason>(static_cast<uint8_t>(record->pending_reason) % 6u);
    for (uint8_t i = 0; i < 3; ++i) {
      tn::ImageRecord &image = record->images[i];
      image.bytes = map.images[i].bytes == 0 ? 0 : image.bytes % kImageMost;
      image.ticket_bytes = image.ticket_bytes % 513u;
      if (image.bytes > 0) digest_of(switches, (image.brown_outs & 1u) != 0 ? 0 : i, image.bytes, image.sha256);
    }
  }
  record->crc32 = tn::crc32(record, offsetof(tn::SlotRecord, crc32));
}

}  // namespace

extern "C" size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t n, size_t most, unsigned seed) {
  n = LLVMFuzzerMutate(data, n, most);
  if (seed % 16 == 0 || most < kInputN) return n;
  if (n < kInputN) memset(data + n, 0, kInputN - n);
  n = kInputN;
  for (size_t i = 0; i < 2; ++i) {
    tn::OtaEntry entry;
    uint8_t *const at = data + kEntriesAt + i * sizeof entry;
    memcpy(&entry, at, sizeof entry);
    entry = tn::ota_entry(entry.sequence, entry.state % 8 == 7 ? tn::kOtaUndefined : entry.state % 8);
    memcpy(at, &entry, sizeof entry);
  }
  for (size_t which = 0; which < 2; ++which) {
    tn::SlotRecord record = record_in(data, n, which);
    make_sensible(&record, data[0], seed / 16 + static_cast<unsigned>(which));
    memcpy(data + 1 + which * kRecordN, &record, kRecordN);
  }
  return n;
}

extern "C" int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n) {
  static Cells cells;
  static tn::Slots boot_loader;
  const uint8_t switches = n > 0 ? data[0] : 0;
  const tn::Partition &map = map_of(switches);
  memset(&cells, 0xFF, sizeof cells);
  for (size_t which = 0; which < 2; ++which) {
    const tn::SlotRecord record = record_in(data, n, which);
    memcpy(cells.at + map.records[which].at, &record, kRecordN);
  }
  for (uint8_t area = 0; area < 3; ++area) {
    if (map.images[area].bytes == 0) continue;
    for (uint32_t i = 0; i < kImageMost; ++i) cells.at[map.images[area].at + i] = cell(switches, area, i);
  }
  if (map.otadata.bytes != 0 && n > kEntriesAt) {
    for (uint32_t i = 0; i < 2; ++i) {
      const size_t at = kEntriesAt + i * sizeof(tn::OtaEntry);
      if (n >= at + sizeof(tn::OtaEntry)) memcpy(cells.at + map.otadata.at + i * tn::kSectorBytes, data + at, sizeof(tn::OtaEntry));
    }
  }
  const tn::Flash flash = {&cells, kFlashBytes, tn::kSectorBytes, cells_read, cells_program, cells_erase};
  tn::SlotRecord record;
  tn::Newest newest = {9, true};
  const bool found = tn::read_record(flash, map, &record, &newest);
  if (found) {
    MUST(newest.sector < 2 && !newest.firm);
    check_record(record, map);
  }
  if (others_boot_loader(switches)) {
    if ((switches & 1u) != 0) start_in_place(flash, map, switches);
    else start_beside_notes(flash, map, switches);
    return 0;
  }
  boot_loader.begin(&flash, &map, &fuzz_crypto());
  const tn::Choice choice = boot_loader.choose(cause_of(switches, 0));
  MUST(found || choice.boot == tn::Boot::kNoRecord);
  if (choice.boot != tn::Boot::kStart) return 0;
  if (!choice.recorded) {
    MUST(record.number == UINT64_MAX - 1);  // after which no record can come
    return 0;
  }
  MUST(tn::read_record(flash, map, &record, &newest) && record.active == choice.area);
  MUST(record.images[choice.area].bytes == choice.bytes && is_whole(flash, map, choice.area, record.images[choice.area]));
  live(flash, map, switches, choice.area);
  return 0;
}
