// Slots and trial (docs/node-interface.md section 7): a state machine over tn::Flash, for both layouts. The boot loader calls
// choose(); the running node calls open() and the rest. Power may go at any flash operation: every change of state is one
// record, written to the sector that does not hold the newest one, and images are named in it only after they were read back.
//
// Decisions. The floor rises when an image is kept, not when it is accepted: a good image whose trial ended only because the
// network was away may be sent again with the same ticket. An image that is on trial goes back after 3 starts in a row that
// never reached a healthy loop, or after 8 starts in all, else one that crashes later than that would stay on trial forever.
// A kept image does not go back for want of healthy starts (three short power cuts must not change the firmware of a node), only
// when its bytes no longer match its digest. An image that was put back is not kept as an older image. A brown-out is the
// supply's fault: the start that it ended is not held against the image on trial, which is tried again, kBrownOutTries times a trial;
// then it goes back all the same, with a reason of its own, for an image that draws more than the old one may be what the supply
// does not bear.
#ifndef TN_SLOTS_H
#define TN_SLOTS_H

#include "otadata.h"
#include "partition.h"
#include "refusal.h"
#include "slots_record.h"
#include "ticket.h"

namespace tn {

constexpr uint8_t kUnhealthyStarts = 3;
constexpr uint8_t kTrialStarts = 8;
constexpr uint8_t kBrownOutTries = 3;  // starts more that a trial gets for brown-outs
constexpr uint8_t kCopyOrders = 3;  // of one copy; then it is given up, for a boot loader that cannot copy must not be asked for ever
constexpr uint32_t kHealthyAfterMs = 30000;  // of control with the interface up; the caller's clock

const char *phase_text(Phase phase);     // "kept", "on-trial", "put-back"
const char *reason_text(Reason reason);  // "trial-over", ...; null for kNone

// Facts for the state document. Pointers are into the record: valid until the next call that changes state.
struct SlotFacts {
  Phase phase;
  const uint8_t *image;  // SHA-256 of the running image, 32 bytes
  uint32_t image_bytes;
  uint64_t sequence;
  uint64_t floor;
  const uint8_t *older_image;  // null: none
  const uint8_t *last_image;   // null: none was put back yet
  Reason last_reason;
  uint32_t boots;
  uint16_t brown_outs;
};

enum class Boot : uint8_t {
  kStart = 0,     // start image area `area`
  kNoRecord,      // never flashed, or both records are damaged
  kNothingWhole,  // no image matches its digest
};
struct Choice {
  Boot boot;
  uint8_t area;    // index in Partition::images: 0 = slot a (or the running area), 1 = slot b
  uint32_t bytes;  // length of the image
  bool recorded;   // false: the start could not be counted (flash failed); the image is started all the same
};

// What start_in_place() wants: go on, or have the boot loader copy whole sectors and start again.
struct InPlace {
  bool copy;
  uint32_t from;
  uint32_t to;
  uint32_t bytes;
  Choice choice;  // when there is nothing to copy
};

// What the running image is to do after the ESP32 family's boot loader started it.
enum class Arrival : uint8_t {
  kGoOn = 0,
  kRestart,   // the boot loader was told to start the other image: restart now
  kNoRecord,  // none, or one that knows nothing of the running image
};

enum class Step : uint8_t { kMore, kDone, kRefused };

// An image on its way in.
enum class Receiving : uint8_t { kNothing, kBody, kReadBack, kCopyOld, kCopyCheck };
struct SlotUpdate {
  Receiving at;
  uint8_t area;       // image area that is written
  uint32_t received;  // bytes of the body
  uint32_t done;      // bytes of the present pass over the flash
  uint32_t page_n;
  bool hashing;  // sha was begun and not ended; an engine of the chip may hang on it
  Sha256 sha;
  ImageRecord image;
  uint8_t page[256];
};

class Slots {
 public:
  void begin(const Flash *flash, const Partition *partition, const Crypto *crypto);

  // `cause`, here and below: why this start came. The start that the node itself asks for when an image is handed over is no cause.

  // --- boot loader
  Choice choose(Reset cause);

  // --- a boot loader that copies when it is told and does nothing else (ESP8266): the application calls this first thing at each
  // start, instead of choose(). It checks what came of a copy, counts the start, and orders the next copy. kNothingWhole: the
  // running image is damaged and nothing can mend it; it runs all the same, so let it control what it can.
  InPlace start_in_place(Reset cause);

  // --- ESP32 family, where the boot loader is not ours: once per start, before open(). Brings the trial record and the boot
  // loader's notes into line, whatever a power cut left undone and whatever the boot loader decided, and counts the start.
  Arrival arrive(uint8_t area, Reset cause);

  // --- first flash: the image must already lie in area 0. Reads it back, then writes the first record: kept, floor = sequence.
  Code first_flash(const Ticket &ticket, const uint8_t *ticket_bytes, size_t ticket_n);

  // --- running node
  bool open(uint8_t area);  // false: no record, or it names another area; then nothing below but facts() may be called
  SlotFacts facts() const;
  size_t ticket(const uint8_t **bytes) const;  // the running image's ticket
  uint32_t room() const;                       // the largest image that can be taken
  bool updating() const;
  bool weak_supply() const;  // brown-outs in the trial that is under way

  Code begin_update(const Ticket &ticket, const uint8_t *ticket_bytes, size_t ticket_n);  // kBusy kOnTrial kTooBig kFlashFailed
  Code write(const uint8_t *data, size_t n);  // kWrongSize when more than the ticket's size, kFlashFailed
  // After the last byte, call until it is not kMore; each step is at most one sector of work. kDone: restart now, the image
  // starts on trial. kRefused: `why` is kWrongSize, kWrongDigest or kFlashFailed, and the update is over.
  Step finish_update(Code *why);
  void abort_update();

  Code keep();                // kNotOnTrial, kFlashFailed
  Code put_back(Reason why);  // kNoOlderImage, kFlashFailed; kOk: restart now. Reads the older image first: it must be whole.
  Code clear_brown_outs();    // begins their count anew; kNoFault: none were counted, kFlashFailed
  Code mark_healthy();        // once per start, when the healthy loop was reached; writes only while on trial

 private:
  const Flash *flash_;
  const Partition *partition_;
  const Crypto *crypto_;
  SlotRecord record_;
  Newest newest_;    // where record_ is
  uint8_t running_;  // image area of the running image
  bool open_;
  bool leaving_;  // a restart was asked for: no further change
  SlotUpdate update_;
  OtaData notes_;

  bool save();
  void begin_digest();
  void end_digest(uint8_t digest[32]);
  bool whole(uint8_t area) const;
  bool copy(uint8_t from, uint8_t to, uint32_t bytes) const;
  bool copy_to_run(uint8_t from) const;
  void note_cause(Reset cause);
  Reason over(Reset cause) const;
  void go_back_to(uint8_t area, Reason why);
  void begin_trial();
  uint8_t older_area() const;
  Choice start(uint8_t area);
  bool hand_over(uint8_t area);
  bool leave_for(uint8_t area);
  bool confirm();
  bool try_again(Reset cause);
  bool hand_over_now(Reset cause);
  Arrival arrive_as_recorded(Reset cause);
  Arrival arrive_elsewhere(uint8_t area, Reset cause);
  Choice choose_slot(Reset cause);
  Choice choose_after_copying(Reset cause);
  void give_up_in_place(Reset cause);
  bool install();
  bool restore(Reason why);
  bool repair();
  void installed();
  void restored(Reason why);
  bool arrived(uint8_t area) const;
  bool order(uint8_t from, InPlace *to);
  bool order_pending(InPlace *to);
  bool order_mending(InPlace *to);
  void drop_install();
  bool put_page();
  Step end_update(Code *why, Code code);
  Step end_of_body(Code *why);
  Step read_back_step(Code *why);
  Step copy_old_step(Code *why);
  Step copy_check_step(Code *why);
  bool commit_update();
};

}  // namespace tn

#endif
