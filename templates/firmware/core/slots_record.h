// The trial record: what is in each image area, which one runs, how the trial stands. It is kept as two_sectors.h says.
#ifndef TN_SLOTS_RECORD_H
#define TN_SLOTS_RECORD_H

#include "partition.h"
#include "port.h"
#include "ticket.h"
#include "two_sectors.h"

namespace tn {

enum class Phase : uint8_t { kKept = 0, kOnTrial = 1, kPutBack = 2 };
enum class Reason : uint8_t { kNone = 0, kTrialOver = 1, kNoHealthyBoot = 2, kTold = 3, kDamaged = 4, kBrownOut = 5 };
enum class Pending : uint8_t { kNothing = 0, kInstall = 1, kRestore = 2 };  // copy-in-place: what the boot loader is to copy

// What lies in one image area. With `present` 0 and `bytes` above 0 it is left over: not an image to go back to, but good for
// mending the same or, when nothing else is whole, for starting the node at all.
struct ImageRecord {
  uint64_t sequence;
  uint32_t bytes;
  uint8_t present;
  uint8_t brown_outs;  // of its trial
  uint16_t ticket_bytes;
  uint8_t sha256[32];
  uint8_t ticket[kTicketBytes];
};
static_assert(sizeof(ImageRecord) == 560, "image record layout");

struct SlotRecord {
  uint32_t magic;
  uint16_t version;
  uint16_t length;
  uint64_t number;  // of this record; the higher of the two sectors counts
  uint64_t floor;
  uint32_t boots;
  uint8_t active;  // image area that runs
  Phase phase;
  Pending pending;  // ESP32 family: kInstall while the image on trial is to be handed over to the boot loader once more
  Reason last_reason;
  Reason pending_reason;
  uint8_t unhealthy_starts;
  uint8_t trial_starts;
  uint8_t has_last;
  uint8_t last_image[32];
  Layout layout;
  uint8_t copy_orders;  // copies that were ordered from a boot loader that only copies, since one last arrived
  uint16_t brown_outs;  // starts after one, since the first flash or since they were cleared; no more than it holds
  ImageRecord images[3];
  uint32_t handed_over;  // ESP32 family: sequence in the boot loader's notes with which the image on trial was handed over to it
  uint32_t crc32;  // of all bytes before it
};
static_assert(sizeof(SlotRecord) == 1760, "slot record layout");
static_assert(sizeof(SlotRecord) <= kSectorBytes, "one sector holds a record");
static_assert(offsetof(SlotRecord, number) == offsetof(RecordHead, number), "it begins as two_sectors.h wants it");

constexpr uint8_t kRun = 0, kStaging = 1, kKeep = 2;  // areas of copy-in-place

bool same_image(const ImageRecord &a, const ImageRecord &b);

// The newest valid record and where it is. False: there is none for this layout.
bool read_record(const Flash &flash, const Partition &partition, SlotRecord *to, Newest *newest);
bool read_record_firmly(const Flash &flash, const Partition &partition, SlotRecord *to, Newest *newest);  // at a start
// write_next() of two_sectors.h for this record.
bool write_record(const Flash &flash, const Partition &partition, SlotRecord *record, Newest *newest);

}  // namespace tn

#endif
