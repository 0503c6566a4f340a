// Slots on the ESP32 family: the trial record beside the notes of a boot loader that is not ours.
//
// Order of writing, so that a power cut between the two can be made good at the next start:
//   an image on trial   record, then notes (kOtaNew). Cut between: never handed over, so arrive() does it now.
//   keep                notes (kOtaValid), then record. Cut between: still on trial, and restarts no longer go back by themselves.
//   going back          record, then notes. Cut between: arrive() does it now.
//   after a brown-out   record (kInstall, with a sequence of its own), then notes. Cut between: not handed over yet, so arrive() does
//                       it now.
#include "slots.h"

namespace tn {

namespace {

// Has the boot loader had that hand-over in its hands?
bool was_handed_over(const OtaData &notes, uint32_t sequence) {
  for (const OtaEntry &entry : notes.entries)
    if (ota_written(entry) && entry.sequence == sequence) return true;
  return false;
}

}  // namespace

bool Slots::hand_over(uint8_t area) {
  const bool trial = record_.phase == Phase::kOnTrial;
  const uint32_t sequence = trial ? record_.handed_over : ota_next_sequence(notes_, area);
  const uint32_t state = trial ? kOtaNew : kOtaValid;
  return ota_hand_over(*flash_, *partition_, &notes_, sequence, state) && ota_selected(notes_) == area;
}

// Makes the boot loader start the other area's image. Where its note of that image is good still, it is enough to drop the one
// that counts now; else the image gets a new one.
bool Slots::leave_for(uint8_t area) {
  if (partition_->otadata.bytes == 0) return true;
  if (!read_otadata(*flash_, *partition_, &notes_)) return false;
  const int active = ota_active(notes_);
  if (ota_selected(notes_) == area) return true;
  const bool other_is_good = active >= 0 && ota_counts(notes_.entries[1 - active]) &&
                             ota_slot(notes_.entries[1 - active].sequence) == area &&
                             notes_.entries[1 - active].state == kOtaValid;
  if (!other_is_good) return hand_over(area);
  return ota_set_state(*flash_, *partition_, &notes_, active, kOtaInvalid) && ota_selected(notes_) == area;
}

// `keep`: from now on the boot loader starts the running image without limits.
bool Slots::confirm() {
  if (partition_->otadata.bytes == 0) return true;
  if (!read_otadata(*flash_, *partition_, &notes_)) return false;
  const int active = ota_active(notes_);
  if (ota_selected(notes_) != record_.active)
    return ota_hand_over(*flash_, *partition_, &notes_, ota_next_sequence(notes_, record_.active), kOtaValid);
  return notes_.entries[active].state == kOtaValid ||
         ota_set_state(*flash_, *partition_, &notes_, active, kOtaValid);
}

// The boot loader went back from the image on trial after a brown-out, as it does after any restart: it is handed over once more.
bool Slots::try_again(Reset cause) {
  if (cause != Reset::kBrownOut || over(cause) != Reason::kNone) return false;
  record_.pending = Pending::kInstall;
  record_.handed_over = ota_next_sequence(notes_, record_.active);
  return save() && hand_over(record_.active);
}

// The boot loader was never told of the image that the record names.
bool Slots::hand_over_now(Reset cause) {
  if (over(cause) != Reason::kNone) return false;
  if (cause == Reset::kBrownOut) save();  // it is counted, though this start is not
  return hand_over(record_.active);
}

Arrival Slots::arrive(uint8_t area, Reset cause) {
  if (!read_record_firmly(*flash_, *partition_, &record_, &newest_)) return Arrival::kNoRecord;
  if (!read_otadata(*flash_, *partition_, &notes_)) return Arrival::kNoRecord;
  note_cause(cause);
  return record_.active == area ? arrive_as_recorded(cause) : arrive_elsewhere(area, cause);
}

Arrival Slots::arrive_as_recorded(Reset cause) {
  const uint8_t running = record_.active;
  const uint8_t other = running == 0 ? 1 : 0;
  // Only where the boot loader's note was lost does an image on trial come here a second time.
  const Reason why = over(cause);
  if (why != Reason::kNone && record_.images[other].present != 0 && whole(other)) {
    go_back_to(other, why);
    if (save() && leave_for(other)) return Arrival::kRestart;
    if (record_.active != running) return arrive_elsewhere(running, cause);  // the boot loader could not be told: this one stays
  }
  const bool trusted = ota_selected(notes_) == record_.active && notes_.entries[ota_active(notes_)].state == kOtaValid;
  if (record_.phase != Phase::kOnTrial && !trusted) confirm();
  start(record_.active);
  return Arrival::kGoOn;
}

// The boot loader did not start the image that the record names.
Arrival Slots::arrive_elsewhere(uint8_t area, Reset cause) {
  if (record_.images[area].bytes == 0) return Arrival::kNoRecord;
  const uint8_t wanted = record_.active;
  Reason why = Reason::kDamaged;  // it was told to, and found the image not fit to be started
  if (ota_selected(notes_) != wanted) {
    const bool trial = record_.phase == Phase::kOnTrial;
    const bool started = record_.trial_starts > 0 && record_.pending != Pending::kInstall;
    const bool had_its_start = trial && (started || was_handed_over(notes_, record_.handed_over));
    if (had_its_start ? try_again(cause) : hand_over_now(cause)) return Arrival::kRestart;
    if (had_its_start || over(cause) != Reason::kNone)
      why = cause == Reset::kBrownOut ? Reason::kBrownOut : Reason::kNoHealthyBoot;
  }
  go_back_to(area, why);
  start(area);
  leave_for(area);
  return Arrival::kGoOn;
}

}  // namespace tn
