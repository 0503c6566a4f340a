#include "slots.h"

#include <string.h>

#include "slots_area.h"

// The order of writes. The power may go between any two of them, or in the middle of one; at each of these moments the
// record in the flash must lead to an image that is whole. An area that is being copied to may be half of each; then what
// it is copied from is whole, and the copy is simply done again:
//   1. the record forgets what an area holds, before the first of its bytes is erased (begin_update, read_back_step);
//   2. the bytes are written, read back, and held to the digest of the ticket;
//   3. copy-in-place: the image that runs is copied to its keep, and that copy is held to its digest;
//   4. one record names the new image: that record alone is the change (commit_update);
//   5. only then the chip's own boot loader is told, where it has a say: if the power goes before, the old image starts,
//      finds itself elsewhere than the record says, and tells it (hand_over_now).
// To keep an image, the other way round: first the boot loader, then the record. If the power goes between, the image is
// still on trial, and is told to be kept once more; a record that says kept of an image that the boot loader takes back
// would be a lie. Whatever was not saved is read back from the flash (save): the memory never knows more than the flash.

namespace tn {

namespace {

ImageRecord describe(const Ticket &ticket, const uint8_t *ticket_bytes, size_t ticket_n) {
  ImageRecord image = {};
  image.sequence = ticket.sequence;
  image.bytes = ticket.size_bytes;
  image.present = 1;
  image.ticket_bytes = static_cast<uint16_t>(ticket_n);
  memcpy(image.sha256, ticket.sha256, sizeof image.sha256);
  memcpy(image.ticket, ticket_bytes, ticket_n);
  return image;
}

}  // namespace

const char *phase_text(Phase phase) {
  return phase == Phase::kKept ? "kept" : phase == Phase::kOnTrial ? "on-trial" : "put-back";
}

const char *reason_text(Reason reason) {
  switch (reason) {
    case Reason::kNone: break;
    case Reason::kTrialOver: return "trial-over";
    case Reason::kNoHealthyBoot: return "no-healthy-boot";
    case Reason::kTold: return "told";
    case Reason::kDamaged: return "damaged";
    case Reason::kBrownOut: return "brown-out";
  }
  return nullptr;
}

void Slots::begin(const Flash *flash, const Partition *partition, const Crypto *crypto) {
  flash_ = flash;
  partition_ = partition;
  crypto_ = crypto;
  memset(&record_, 0, sizeof record_);
  newest_ = kNoneYet;
  running_ = 0;
  open_ = false;
  leaving_ = false;
  memset(&update_, 0, sizeof update_);
  memset(&notes_, 0xFF, sizeof notes_);
}

// A record that could not be written is forgotten: what the flash says counts.
bool Slots::save() {
  if (write_record(*flash_, *partition_, &record_, &newest_)) return true;
  read_record(*flash_, *partition_, &record_, &newest_);
  return false;
}

bool Slots::whole(uint8_t area) const {
  const ImageRecord &image = record_.images[area];
  return image.bytes > 0 && area_matches(*flash_, *crypto_, partition_->images[area], image.bytes, image.sha256);
}

bool Slots::copy(uint8_t from, uint8_t to, uint32_t bytes) const {
  for (uint32_t done = 0; done < bytes; done += kSectorBytes)
    if (!copy_sector(*flash_, partition_->images[from].at + done, partition_->images[to].at + done)) return false;
  return true;
}

// --- boot loader

// Once per start, as soon as the record is read; whatever comes of it is written with the start.
void Slots::note_cause(Reset cause) {
  if (cause != Reset::kBrownOut) return;
  if (record_.brown_outs < UINT16_MAX) ++record_.brown_outs;
  if (record_.phase != Phase::kOnTrial) return;
  uint8_t &of_trial = record_.images[record_.active].brown_outs;
  if (of_trial < UINT8_MAX) ++of_trial;
  if (record_.unhealthy_starts > 0) --record_.unhealthy_starts;  // the one that it ended
}

// Why the image on trial gets no further start; kNone: it gets one.
Reason Slots::over(Reset cause) const {
  if (record_.phase != Phase::kOnTrial) return Reason::kNone;
  const bool brown_outs = record_.images[record_.active].brown_outs > kBrownOutTries;
  if (!brown_outs && record_.unhealthy_starts < kUnhealthyStarts && record_.trial_starts < kTrialStarts) return Reason::kNone;
  return brown_outs || cause == Reset::kBrownOut ? Reason::kBrownOut : Reason::kNoHealthyBoot;
}

Choice Slots::choose(Reset cause) {
  if (!read_record_firmly(*flash_, *partition_, &record_, &newest_)) return Choice{Boot::kNoRecord, 0, 0, false};
  note_cause(cause);
  return partition_->layout == Layout::kTwoSlot ? choose_slot(cause) : choose_after_copying(cause);
}

Choice Slots::start(uint8_t area) {
  ++record_.boots;
  record_.pending = Pending::kNothing;  // done, or a record that makes no sense: the node would refuse to work with it
  if (record_.phase == Phase::kOnTrial) {
    if (record_.unhealthy_starts < UINT8_MAX) ++record_.unhealthy_starts;
    if (record_.trial_starts < UINT8_MAX) ++record_.trial_starts;
  }
  const uint32_t bytes = record_.images[area].bytes;
  return Choice{Boot::kStart, area, bytes, save()};
}

// The record of a return to the image in `area`, whose bytes are already where they run from (two-slot) or were just copied.
void Slots::go_back_to(uint8_t area, Reason why) {
  record_.has_last = 1;
  record_.last_reason = why;
  memcpy(record_.last_image, record_.images[record_.active].sha256, sizeof record_.last_image);
  record_.images[record_.active].present = 0;
  record_.images[area].present = 1;
  record_.active = area;
  record_.phase = Phase::kPutBack;
  record_.pending = Pending::kNothing;
  record_.unhealthy_starts = 0;
  record_.trial_starts = 0;
}

void Slots::begin_trial() {
  record_.phase = Phase::kOnTrial;
  record_.unhealthy_starts = 0;
  record_.trial_starts = 0;
  record_.images[record_.active].brown_outs = 0;
}

Choice Slots::choose_slot(Reset cause) {
  const uint8_t other = record_.active == 0 ? 1 : 0;
  const Reason why = over(cause);
  if (why != Reason::kNone && record_.images[other].present != 0 && whole(other))
    go_back_to(other, why);
  else if (!whole(record_.active)) {
    if (!whole(other)) return Choice{Boot::kNothingWhole, 0, 0, false};
    go_back_to(other, Reason::kDamaged);
  }
  return start(record_.active);
}

// Copy-in-place: the older image is to be copied back, if the one on trial gets no further start.
void Slots::give_up_in_place(Reset cause) {
  const Reason why = over(cause);
  if (why == Reason::kNone || record_.pending != Pending::kNothing || record_.images[kKeep].present == 0 || !whole(kKeep)) return;
  record_.pending = Pending::kRestore;
  record_.pending_reason = why;
  record_.copy_orders = 0;
}

Choice Slots::choose_after_copying(Reset cause) {
  give_up_in_place(cause);
  if (record_.pending == Pending::kInstall && !install()) drop_install();
  if (record_.pending == Pending::kRestore && !restore(record_.pending_reason)) record_.pending = Pending::kNothing;
  if (!whole(kRun) && !repair()) return Choice{Boot::kNothingWhole, 0, 0, false};
  return start(kRun);
}

// Each copy leaves its source as it was, and skips sectors that are already right: after a power cut it is simply done again.
bool Slots::install() {
  if (!whole(kStaging) || !copy_to_run(kStaging)) return false;
  installed();
  return true;
}

// Twice at most: cells that a power cut left weak can read well while sectors are compared and badly when the digest is made.
bool Slots::copy_to_run(uint8_t from) const {
  for (int tries = 0; tries < 2; ++tries)
    if (copy(from, kRun, record_.images[from].bytes) && arrived(from)) return true;
  return false;
}

bool Slots::arrived(uint8_t area) const {
  const ImageRecord &image = record_.images[area];
  return image.bytes > 0 && area_matches(*flash_, *crypto_, partition_->images[kRun], image.bytes, image.sha256);
}

void Slots::installed() {
  record_.images[kRun] = record_.images[kStaging];
  record_.images[kRun].present = 1;
  record_.images[kStaging].present = 0;
  record_.pending = Pending::kNothing;
  begin_trial();
}

bool Slots::restore(Reason why) {
  if (!whole(kKeep) || !copy_to_run(kKeep)) return false;
  restored(why);
  return true;
}

void Slots::restored(Reason why) {
  go_back_to(kRun, why);  // first: it notes the digest of the image that is left
  record_.images[kRun] = record_.images[kKeep];
  record_.images[kRun].present = 1;
  record_.images[kKeep].present = 0;
}

// The staged image cannot be installed. The running area is still the old image, or repair() brings it back.
void Slots::drop_install() {
  record_.has_last = 1;
  record_.last_reason = Reason::kDamaged;
  memcpy(record_.last_image, record_.images[kStaging].sha256, sizeof record_.last_image);
  record_.images[kStaging].present = 0;
  record_.phase = Phase::kPutBack;
  record_.pending = Pending::kNothing;
}

// The running area is damaged: the same image from another area, else the older image, else whatever is whole.
bool Slots::repair() {
  for (uint8_t from = kStaging; from <= kKeep; ++from)
    if (same_image(record_.images[from], record_.images[kRun]) && whole(from)) return copy_to_run(from);
  return restore(Reason::kDamaged) || install();
}

// --- first flash

Code Slots::first_flash(const Ticket &ticket, const uint8_t *ticket_bytes, size_t ticket_n) {
  if (ticket_n > kTicketBytes) return Code::kBadTicket;
  if (ticket.size_bytes > room()) return Code::kTooBig;
  record_.images[0] = describe(ticket, ticket_bytes, ticket_n);
  record_.floor = ticket.sequence;
  if (!whole(0)) return Code::kWrongDigest;
  return write_record(*flash_, *partition_, &record_, &newest_) ? Code::kOk : Code::kFlashFailed;
}

// --- running node

bool Slots::open(uint8_t area) {
  open_ = read_record(*flash_, *partition_, &record_, &newest_) && record_.active == area &&
          record_.pending == Pending::kNothing;
  running_ = open_ ? area : record_.active;
  return open_;
}

uint8_t Slots::older_area() const {
  return partition_->layout == Layout::kCopyInPlace ? kKeep : running_ == 0 ? 1 : 0;
}

SlotFacts Slots::facts() const {
  const ImageRecord &image = record_.images[running_];
  const ImageRecord &older = record_.images[older_area()];
  SlotFacts facts = {};
  facts.phase = record_.phase;
  facts.image = image.sha256;
  facts.image_bytes = image.bytes;
  facts.sequence = image.sequence;
  facts.floor = record_.floor;
  facts.older_image = older.present != 0 ? older.sha256 : nullptr;
  facts.last_image = record_.has_last != 0 ? record_.last_image : nullptr;
  facts.last_reason = record_.last_reason;
  facts.boots = record_.boots;
  facts.brown_outs = record_.brown_outs;
  return facts;
}

size_t Slots::ticket(const uint8_t **bytes) const {
  *bytes = record_.images[running_].ticket;
  return record_.images[running_].ticket_bytes;
}

uint32_t Slots::room() const {
  const uint32_t first = partition_->images[0].bytes, second = partition_->images[1].bytes;
  return first < second ? first : second;
}

Code Slots::keep() {
  if (!open_ || leaving_ || record_.phase != Phase::kOnTrial) return Code::kNotOnTrial;
  if (!confirm()) return Code::kFlashFailed;
  record_.phase = Phase::kKept;
  record_.unhealthy_starts = 0;
  record_.trial_starts = 0;
  const uint64_t sequence = record_.images[running_].sequence;
  if (sequence > record_.floor) record_.floor = sequence;
  return save() ? Code::kOk : Code::kFlashFailed;
}

Code Slots::put_back(Reason why) {
  if (!open_) return Code::kNoOlderImage;
  if (leaving_ || updating()) return Code::kBusy;
  const uint8_t older = older_area();
  if (record_.images[older].present == 0) return Code::kNoOlderImage;
  if (!whole(older)) {
    record_.images[older].present = 0;
    save();
    return Code::kNoOlderImage;
  }
  if (partition_->layout == Layout::kTwoSlot) {
    go_back_to(older, why);
  } else {
    record_.pending = Pending::kRestore;
    record_.pending_reason = why;
    record_.copy_orders = 0;
  }
  leaving_ = save() && leave_for(older);
  return leaving_ ? Code::kOk : Code::kFlashFailed;
}

Code Slots::mark_healthy() {
  if (!open_ || leaving_ || record_.phase != Phase::kOnTrial || record_.unhealthy_starts == 0) return Code::kOk;
  record_.unhealthy_starts = 0;
  return save() ? Code::kOk : Code::kFlashFailed;
}

Code Slots::clear_brown_outs() {
  if (!open_ || leaving_ || record_.brown_outs == 0) return Code::kNoFault;
  record_.brown_outs = 0;
  return save() ? Code::kOk : Code::kFlashFailed;
}

// --- an image on its way in

bool Slots::weak_supply() const { return open_ && record_.phase == Phase::kOnTrial && record_.images[running_].brown_outs > 0; }

bool Slots::updating() const { return update_.at != Receiving::kNothing; }

Code Slots::begin_update(const Ticket &ticket, const uint8_t *ticket_bytes, size_t ticket_n) {
  if (!open_) return Code::kFlashFailed;
  if (record_.phase == Phase::kOnTrial && !leaving_) return Code::kOnTrial;
  if (leaving_ || updating()) return Code::kBusy;
  if (ticket.size_bytes > room()) return Code::kTooBig;
  if (ticket_n > kTicketBytes) return Code::kBadTicket;
  const uint8_t area = partition_->layout == Layout::kTwoSlot ? older_area() : kStaging;
  memset(&record_.images[area], 0, sizeof record_.images[area]);  // no record may name bytes that are being written over
  if (!save()) return Code::kFlashFailed;
  update_.at = Receiving::kBody;
  update_.area = area;
  update_.received = 0;
  update_.done = 0;
  update_.page_n = 0;
  update_.image = describe(ticket, ticket_bytes, ticket_n);
  begin_digest();
  return Code::kOk;
}

// Pages are whole but for the last, which ends in erased bytes: chips program aligned words.
bool Slots::put_page() {
  const uint32_t at = partition_->images[update_.area].at + update_.done;
  memset(update_.page + update_.page_n, 0xFF, sizeof update_.page - update_.page_n);
  if (update_.done % kSectorBytes == 0 && !flash_->erase(flash_->ctx, at)) return false;
  if (!flash_->program(flash_->ctx, at, update_.page, sizeof update_.page)) return false;
  update_.done += static_cast<uint32_t>(sizeof update_.page);
  update_.page_n = 0;
  return true;
}

Code Slots::write(const uint8_t *data, size_t n) {
  if (update_.at != Receiving::kBody) return Code::kBusy;
  if (n > update_.image.bytes - update_.received) {
    abort_update();
    return Code::kWrongSize;
  }
  crypto_->sha256_add(&update_.sha, data, n);
  update_.received += static_cast<uint32_t>(n);
  while (n > 0) {
    const size_t free = sizeof update_.page - update_.page_n;
    const size_t part = n < free ? n : free;
    memcpy(update_.page + update_.page_n, data, part);
    update_.page_n += static_cast<uint32_t>(part);
    data += part;
    n -= part;
    if (update_.page_n < sizeof update_.page || put_page()) continue;
    abort_update();
    return Code::kFlashFailed;
  }
  return Code::kOk;
}

void Slots::begin_digest() {
  crypto_->sha256_begin(&update_.sha);
  update_.hashing = true;
}

void Slots::end_digest(uint8_t digest[32]) {
  crypto_->sha256_end(&update_.sha, digest);
  update_.hashing = false;
}

void Slots::abort_update() {
  uint8_t of_a_part[32];
  if (update_.hashing) end_digest(of_a_part);
  update_.at = Receiving::kNothing;
}

Step Slots::end_update(Code *why, Code code) {
  abort_update();
  *why = code;
  return code == Code::kOk ? Step::kDone : Step::kRefused;
}

Step Slots::finish_update(Code *why) {
  *why = Code::kOk;
  switch (update_.at) {
    case Receiving::kNothing: break;
    case Receiving::kBody: return end_of_body(why);
    case Receiving::kReadBack: return read_back_step(why);
    case Receiving::kCopyOld: return copy_old_step(why);
    case Receiving::kCopyCheck: return copy_check_step(why);
  }
  return end_update(why, Code::kWrongSize);
}

Step Slots::end_of_body(Code *why) {
  uint8_t digest[32];
  end_digest(digest);
  if (update_.received != update_.image.bytes) return end_update(why, Code::kWrongSize);
  if (memcmp(digest, update_.image.sha256, sizeof digest) != 0) return end_update(why, Code::kWrongDigest);
  if (update_.page_n > 0 && !put_page()) return end_update(why, Code::kFlashFailed);
  update_.at = Receiving::kReadBack;
  update_.done = 0;
  begin_digest();
  return Step::kMore;
}

Step Slots::read_back_step(Code *why) {
  const ImageRecord &image = update_.image;
  if (!hash_sector(*flash_, *crypto_, partition_->images[update_.area], image.bytes, &update_.done, &update_.sha))
    return end_update(why, Code::kFlashFailed);
  if (update_.done < image.bytes) return Step::kMore;
  uint8_t digest[32];
  end_digest(digest);
  if (memcmp(digest, image.sha256, sizeof digest) != 0) return end_update(why, Code::kFlashFailed);
  if (partition_->layout == Layout::kTwoSlot) return end_update(why, commit_update() ? Code::kOk : Code::kFlashFailed);
  memset(&record_.images[kKeep], 0, sizeof record_.images[kKeep]);  // about to be written over
  if (!save()) return end_update(why, Code::kFlashFailed);
  update_.at = Receiving::kCopyOld;
  update_.done = 0;
  return Step::kMore;
}

Step Slots::copy_old_step(Code *why) {
  const Area &run = partition_->images[kRun], &kept = partition_->images[kKeep];
  if (!copy_sector(*flash_, run.at + update_.done, kept.at + update_.done)) return end_update(why, Code::kFlashFailed);
  update_.done += kSectorBytes;
  if (update_.done < record_.images[kRun].bytes) return Step::kMore;
  update_.at = Receiving::kCopyCheck;
  update_.done = 0;
  begin_digest();
  return Step::kMore;
}

Step Slots::copy_check_step(Code *why) {
  const ImageRecord &old = record_.images[kRun];
  if (!hash_sector(*flash_, *crypto_, partition_->images[kKeep], old.bytes, &update_.done, &update_.sha))
    return end_update(why, Code::kFlashFailed);
  if (update_.done < old.bytes) return Step::kMore;
  uint8_t digest[32];
  end_digest(digest);
  const bool good = memcmp(digest, old.sha256, sizeof digest) == 0 && commit_update();
  return end_update(why, good ? Code::kOk : Code::kFlashFailed);
}

// One record makes the new image the one that starts next; on the ESP32 family, once the boot loader has it too.
bool Slots::commit_update() {
  const bool noted = partition_->otadata.bytes != 0;  // by a boot loader that is not ours
  if (noted && !read_otadata(*flash_, *partition_, &notes_)) return false;
  const Phase former = record_.phase;
  record_.images[update_.area] = update_.image;
  if (partition_->layout == Layout::kTwoSlot) {
    record_.active = update_.area;
    begin_trial();
  } else {
    record_.images[kKeep] = record_.images[kRun];
    record_.pending = Pending::kInstall;
    record_.copy_orders = 0;
  }
  if (noted) record_.handed_over = ota_next_sequence(notes_, update_.area);
  leaving_ = save() && (!noted || hand_over(update_.area));
  if (leaving_ || record_.active == running_) return leaving_;
  record_.active = running_;  // it stays with the image that runs
  record_.phase = former;
  memset(&record_.images[update_.area], 0, sizeof record_.images[update_.area]);
  save();
  return false;
}

}  // namespace tn
