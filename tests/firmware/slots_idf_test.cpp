// Slots on the ESP32 family: the core's reading and writing of the boot loader's notes against published bytes, and whole lives of
// a node under an emulation of that boot loader (idf_boot.h).
#include "check.h"
#include "idf_boot.h"
#include "slots_life.h"

namespace {

using tn::Arrival;
using tn::Code;
using tn::Phase;
using tn::Reason;
using tn::Slots;
using tn::Step;

TestImage images[6];
constexpr int kImages = 6;

bool can_start(const MemoryFlash &m, const tn::Partition &partition, uint8_t slot) {
  for (const TestImage &image : images)
    if (holds(m, partition, slot, image)) return true;
  return false;
}

struct Life {
  MemoryFlash m;
  Slots slots;
  int area;  // of the running image, -1: nothing runs
  int restarts;  // that the image asked for before it went on

  // Power on, or any reset: the boot loader, then the image's first word; a restart that it asks for is done at once.
  bool boot(tn::Reset cause = tn::Reset::kPowerOn) {
    restarts = 0;
    for (int i = 0; i < 4; ++i) {
      area = idf::start(&m, kSmallIdf, can_start);
      if (area < 0) return false;
      begin(&slots, m, kSmallIdf);
      const Arrival arrival = slots.arrive(static_cast<uint8_t>(area), restarts == 0 ? cause : tn::Reset::kRestart);
      if (m.dead) return false;
      if (arrival != Arrival::kRestart) return slots.open(static_cast<uint8_t>(area));
      ++restarts;
    }
    return false;
  }
  bool runs_image(int i) const { return area >= 0 && holds(m, kSmallIdf, static_cast<uint8_t>(area), images[i]) && runs(slots, images[i]); }
  bool says(Phase phase, Reason reason) const { return slots.facts().phase == phase && slots.facts().last_reason == reason; }
  uint32_t state_of_newest() {
    idf::Entry e[2];
    idf::read_entries(&m, kSmallIdf, e);
    return e[e[0].ota_seq != UINT32_MAX && (e[1].ota_seq == UINT32_MAX || e[0].ota_seq > e[1].ota_seq) ? 0 : 1].ota_state;
  }
};

Life life;

void new_life() {
  fresh_flash(&life.m);
  CHECK(first_flash(&life.m, kSmallIdf, images[0]) == Code::kOk);
  CHECK(life.boot() && life.runs_image(0) && life.says(Phase::kKept, Reason::kNone));
}

Step send_image(int i) {
  Code why;
  return send(&life.slots, images[i], &why);
}

void send_and_boot(int i) {
  CHECK(send_image(i) == Step::kDone);
  CHECK(life.boot() && life.runs_image(i) && life.slots.facts().phase == Phase::kOnTrial);
}

// --- published bytes

// CRCs of sequences 1 to 5: zlib.crc32(struct.pack('<I', seq), 0xFFFFFFFF), as otatool.py of esp-idf writes them.
void checksums_and_slots_of_sequences() {
  const uint32_t crcs[] = {0x4743989A, 0x55F63774, 0xED4A5011, 0x709D68A8, 0xC8210FCD};
  for (uint32_t sequence = 1; sequence <= 5; ++sequence) {
    CHECK(tn::ota_entry(sequence, tn::kOtaValid).crc32 == crcs[sequence - 1]);
    CHECK(tn::ota_slot(sequence) == (sequence - 1) % 2);
  }
}

// Two entries byte for byte, by the layout of esp_flash_partitions.h.
void entries_byte_for_byte() {
  uint8_t first[32], third[32];
  memset(first, 0xFF, sizeof first);
  memset(third, 0xFF, sizeof third);
  const uint8_t one[] = {1, 0, 0, 0}, crc_one[] = {0x9A, 0x98, 0x43, 0x47};
  const uint8_t three[] = {3, 0, 0, 0}, pending[] = {1, 0, 0, 0}, crc_three[] = {0x11, 0x50, 0x4A, 0xED};
  memcpy(first, one, 4);
  memcpy(first + 28, crc_one, 4);
  memcpy(third, three, 4);
  memcpy(third + 24, pending, 4);
  memcpy(third + 28, crc_three, 4);
  const tn::OtaEntry a = tn::ota_entry(1, tn::kOtaUndefined), b = tn::ota_entry(3, tn::kOtaPendingVerify);
  CHECK(memcmp(&a, first, sizeof first) == 0);
  CHECK(memcmp(&b, third, sizeof third) == 0);
}

// The whole partition with sequence 1, state undefined: SHA-256 of its 8192 bytes.
void whole_partition_digest() {
  static const uint8_t wanted[32] = {0x41, 0x87, 0xe2, 0x36, 0x40, 0xdd, 0xb4, 0xd9, 0xe0, 0x0a, 0x91, 0x37, 0x6d, 0x2d, 0xf4, 0xae,
                                     0xc3, 0xb0, 0x31, 0x6e, 0x51, 0xb2, 0xf8, 0xf7, 0x84, 0xbd, 0x43, 0xdf, 0x49, 0xce, 0x8b, 0xa9};
  fresh_flash(&life.m);
  tn::OtaData notes;
  CHECK(tn::read_otadata(life.m.flash, kSmallIdf, &notes) && tn::ota_selected(notes) == tn::kOtaNoSlot);
  CHECK(tn::ota_next_sequence(notes, 0) == 1 && tn::ota_next_sequence(notes, 1) == 2);
  CHECK(tn::ota_hand_over(life.m.flash, kSmallIdf, &notes, 1, tn::kOtaUndefined) && tn::ota_selected(notes) == 0);
  tn::Sha256 sha;
  uint8_t digest[32];
  test_crypto->sha256_begin(&sha);
  test_crypto->sha256_add(&sha, life.m.cells + kSmallIdf.otadata.at, kSmallIdf.otadata.bytes);
  test_crypto->sha256_end(&sha, digest);
  CHECK(memcmp(digest, wanted, sizeof wanted) == 0);
}

// The table of states of esp-idf's docs (ota.rst, app rollback): what is started, and what the state is afterwards. It holds the
// emulation to the documents; the core's own view of the same entry must agree with it.
void documented_states() {
  const struct {
    uint32_t state;
    int started;
    uint32_t after;
  } rows[] = {{idf::kNew, 1, idf::kPending},     {idf::kPending, 0, idf::kAborted}, {idf::kValid, 1, idf::kValid},
              {idf::kInvalid, 0, idf::kInvalid}, {idf::kAborted, 0, idf::kAborted}, {idf::kUndefined, 1, idf::kUndefined}};
  for (const auto &row : rows) {
    fresh_flash(&life.m);
    for (uint8_t slot = 0; slot < 2; ++slot) memcpy(life.m.cells + kSmallIdf.images[slot].at, images[slot].bytes, image_bytes);
    tn::OtaData notes;
    CHECK(tn::read_otadata(life.m.flash, kSmallIdf, &notes));
    CHECK(tn::ota_hand_over(life.m.flash, kSmallIdf, &notes, 1, tn::kOtaValid));
    CHECK(tn::ota_hand_over(life.m.flash, kSmallIdf, &notes, 2, row.state));
    CHECK(tn::ota_counts(notes.entries[1]) == (row.state != idf::kInvalid && row.state != idf::kAborted));
    CHECK(idf::start(&life.m, kSmallIdf, can_start) == row.started);
    idf::Entry e[2];
    idf::read_entries(&life.m, kSmallIdf, e);
    CHECK(e[1].ota_state == row.after && e[0].ota_state == idf::kValid);
  }
}

// --- lives

void first_flash_starts_with_empty_notes() {
  new_life();
  CHECK(life.state_of_newest() == idf::kValid && life.restarts == 0);
  CHECK(life.boot() && life.runs_image(0) && life.slots.facts().boots == 2);
}

void an_update_is_kept() {
  new_life();
  send_and_boot(1);
  CHECK(life.state_of_newest() == idf::kPending && life.restarts == 0);
  CHECK(life.slots.mark_healthy() == Code::kOk && life.slots.keep() == Code::kOk);
  CHECK(life.state_of_newest() == idf::kValid);
  for (int i = 0; i < 5; ++i) CHECK(life.boot() && life.runs_image(1) && life.says(Phase::kKept, Reason::kNone));
  CHECK(memcmp(life.slots.facts().older_image, images[0].ticket.sha256, 32) == 0);
}

void any_restart_on_trial_goes_back() {
  new_life();
  send_and_boot(1);
  CHECK(life.slots.mark_healthy() == Code::kOk);
  CHECK(life.boot() && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kNoHealthyBoot));
  CHECK(memcmp(life.slots.facts().last_image, images[1].ticket.sha256, 32) == 0 && life.slots.facts().older_image == nullptr);
  CHECK(life.state_of_newest() == idf::kAborted && life.slots.facts().floor == images[0].ticket.sequence);
  CHECK(life.boot() && life.runs_image(0) && life.restarts == 0);
}

// After a brown-out the boot loader goes back as after any restart; what it then starts hands the image on trial over again.
void a_brown_out_on_trial_is_tried_again() {
  new_life();
  send_and_boot(1);
  for (int i = 1; i <= tn::kBrownOutTries; ++i) {
    CHECK(life.boot(tn::Reset::kBrownOut) && life.runs_image(1) && life.restarts == 1);
    CHECK(life.slots.facts().phase == Phase::kOnTrial && life.slots.facts().brown_outs == i);
    CHECK(life.state_of_newest() == idf::kPending && life.slots.facts().boots == 2u + static_cast<uint32_t>(i));
  }
  CHECK(life.slots.mark_healthy() == Code::kOk && life.slots.keep() == Code::kOk && life.slots.facts().floor == images[1].ticket.sequence);
  CHECK(life.boot(tn::Reset::kBrownOut) && life.runs_image(1) && life.restarts == 0);
  CHECK(life.says(Phase::kKept, Reason::kNone) && life.slots.facts().brown_outs == tn::kBrownOutTries + 1);
}

void one_brown_out_too_many_goes_back() {
  new_life();
  send_and_boot(1);
  for (int i = 0; i < tn::kBrownOutTries; ++i) CHECK(life.boot(tn::Reset::kBrownOut) && life.runs_image(1));
  CHECK(life.boot(tn::Reset::kBrownOut) && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kBrownOut) && life.restarts == 0);
  send_and_boot(2);  // and the next trial has its own tries
  CHECK(life.boot(tn::Reset::kBrownOut) && life.runs_image(2) && life.slots.facts().phase == Phase::kOnTrial);
}

void a_crash_after_a_brown_out_goes_back() {
  new_life();
  send_and_boot(1);
  CHECK(life.boot(tn::Reset::kBrownOut) && life.runs_image(1));
  CHECK(life.boot(tn::Reset::kCrash) && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kNoHealthyBoot));
}

// Power goes between the record of the second hand-over and the note.
void a_second_hand_over_that_was_cut_off_is_made_good() {
  new_life();
  send_and_boot(1);
  CHECK(idf::start(&life.m, kSmallIdf, can_start) == 0);
  uint8_t notes[0x2000];
  memcpy(notes, life.m.cells + kSmallIdf.otadata.at, sizeof notes);
  begin(&life.slots, life.m, kSmallIdf);
  CHECK(life.slots.arrive(0, tn::Reset::kBrownOut) == Arrival::kRestart);
  memcpy(life.m.cells + kSmallIdf.otadata.at, notes, sizeof notes);
  CHECK(life.boot() && life.runs_image(1) && life.slots.facts().phase == Phase::kOnTrial && life.restarts == 1);
  CHECK(life.slots.facts().brown_outs == 1);
  CHECK(life.boot() && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kNoHealthyBoot));
}

// The supply goes whenever the note of the hand-over is written: it is tried no more often than any other brown-out.
void brown_outs_within_the_hand_over_end_the_trial_too() {
  new_life();
  uint8_t notes[0x2000];
  memcpy(notes, life.m.cells + kSmallIdf.otadata.at, sizeof notes);
  CHECK(send_image(1) == Step::kDone);
  for (int i = 0; i < tn::kBrownOutTries; ++i) {
    memcpy(life.m.cells + kSmallIdf.otadata.at, notes, sizeof notes);
    begin(&life.slots, life.m, kSmallIdf);
    CHECK(life.slots.arrive(0, tn::Reset::kBrownOut) == Arrival::kRestart);
  }
  memcpy(life.m.cells + kSmallIdf.otadata.at, notes, sizeof notes);
  CHECK(life.boot(tn::Reset::kBrownOut) && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kBrownOut));
  CHECK(life.slots.facts().brown_outs == tn::kBrownOutTries + 1);
}

void told_back_on_trial_and_after_keeping() {
  new_life();
  send_and_boot(1);
  CHECK(life.slots.put_back(Reason::kTold) == Code::kOk);
  CHECK(life.boot() && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kTold) && life.restarts == 0);
  send_and_boot(2);
  CHECK(life.slots.keep() == Code::kOk && life.slots.put_back(Reason::kTrialOver) == Code::kOk);
  CHECK(life.boot() && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kTrialOver) && life.restarts == 0);
  CHECK(life.boot() && life.runs_image(0));
}

void many_updates_in_turn() {
  new_life();
  for (int i = 1; i < kImages; ++i) {
    send_and_boot(i);
    CHECK(life.slots.keep() == Code::kOk && life.boot() && life.runs_image(i) && life.restarts == 0);
  }
}

// Power goes between the record of an image on trial and its hand-over. An earlier image was aborted from the same slot: its old
// note must not be taken for this image's start.
void a_hand_over_that_was_cut_off_is_made_good() {
  new_life();
  send_and_boot(1);
  CHECK(life.boot() && life.says(Phase::kPutBack, Reason::kNoHealthyBoot));
  uint8_t notes[0x2000];
  memcpy(notes, life.m.cells + kSmallIdf.otadata.at, sizeof notes);
  CHECK(send_image(2) == Step::kDone);
  memcpy(life.m.cells + kSmallIdf.otadata.at, notes, sizeof notes);
  CHECK(life.boot() && life.runs_image(2) && life.slots.facts().phase == Phase::kOnTrial && life.restarts == 1);
  CHECK(life.boot() && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kNoHealthyBoot));
}

// Power goes between the record of going back and the note.
void a_way_back_that_was_cut_off_is_made_good() {
  new_life();
  send_and_boot(1);
  CHECK(life.slots.keep() == Code::kOk);
  uint8_t notes[0x2000];
  memcpy(notes, life.m.cells + kSmallIdf.otadata.at, sizeof notes);
  CHECK(life.slots.put_back(Reason::kTold) == Code::kOk);
  memcpy(life.m.cells + kSmallIdf.otadata.at, notes, sizeof notes);
  CHECK(life.boot() && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kTold) && life.restarts == 1);
}

// The boot loader refuses an image that is no longer whole.
void a_refused_image_is_put_back_as_damaged() {
  new_life();
  CHECK(send_image(1) == Step::kDone);
  life.m.cells[kSmallIdf.images[1].at + 100] ^= 1;
  CHECK(life.boot() && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kDamaged) && life.restarts == 0);
  send_and_boot(2);
  CHECK(life.slots.keep() == Code::kOk);
  life.m.cells[kSmallIdf.images[1].at + 100] ^= 1;
  CHECK(life.boot() && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kDamaged));
  for (int i = 0; i < 3; ++i) CHECK(life.boot() && life.runs_image(0) && life.restarts == 0);
}

// Both notes gone: the boot loader starts slot 0, whatever the record says.
void lost_notes_do_not_lose_a_kept_image() {
  new_life();
  send_and_boot(1);
  CHECK(life.slots.keep() == Code::kOk);
  memset(life.m.cells + kSmallIdf.otadata.at, 0xFF, kSmallIdf.otadata.bytes);
  CHECK(life.boot() && life.runs_image(1) && life.slots.facts().phase == Phase::kKept && life.restarts == 1);
}

// Without the boot loader's watch, an image on trial still does not stay for want of healthy starts.
void a_trial_that_the_boot_loader_does_not_watch_ends_too() {
  new_life();
  send_and_boot(1);
  tn::OtaData notes;
  CHECK(tn::read_otadata(life.m.flash, kSmallIdf, &notes));
  CHECK(tn::ota_set_state(life.m.flash, kSmallIdf, &notes, tn::ota_active(notes), tn::kOtaUndefined));
  for (int i = 1; i < tn::kUnhealthyStarts; ++i) CHECK(life.boot() && life.runs_image(1));
  CHECK(life.boot() && life.runs_image(0) && life.says(Phase::kPutBack, Reason::kNoHealthyBoot) && life.restarts == 1);
}

void without_a_record_nothing_is_touched() {
  fresh_flash(&life.m);
  memcpy(life.m.cells + kSmallIdf.images[0].at, images[0].bytes, image_bytes);
  CHECK(!life.boot() && life.area == 0 && life.m.operations == 2);  // the boot loader's own note
}

void flash_that_fails_takes_no_image() {
  new_life();
  Code why;
  tn::Ticket ticket = images[1].ticket;
  CHECK(life.slots.begin_update(ticket, kTicketText, sizeof kTicketText) == Code::kOk);
  CHECK(life.slots.write(images[1].bytes, image_bytes) == Code::kOk);
  while (life.slots.finish_update(&why) == Step::kMore) {
    // The next step would write the record and the note; both cannot be.
    life.m.fails = life.slots.updating();
  }
  CHECK(why == Code::kFlashFailed);
  life.m.fails = false;
  CHECK(life.boot() && life.runs_image(0) && life.slots.facts().phase == Phase::kKept);
  send_and_boot(2);
}

// Every sequence of four events: the node always runs a whole image, nothing is kept or put back unasked, and no start asks for
// another one. (slots_events_test.cpp goes through longer ones.)
void every_sequence_of_four_events() {
  constexpr int kEvents = 5, kLength = 4;
  int sequences = kEvents;
  for (int i = 1; i < kLength; ++i) sequences *= kEvents;
  for (int n = 0; n < sequences; ++n) {
    new_life();
    int running = 0, older = -1, next = 1, rest = n;
    bool trial = false;
    for (int k = 0; k < kLength && next < kImages; ++k, rest /= kEvents) {
      const int event = rest % kEvents;
      if (event == 0) {  // an image is sent
        const Step step = send_image(next);
        CHECK((step == Step::kDone) == !trial);
        if (step == Step::kDone) {
          older = running;
          running = next++;
          trial = true;
          CHECK(life.boot());
        }
      } else if (event == 1) {  // a restart
        CHECK(life.boot());
        if (trial) {
          running = older;
          older = -1;
          trial = false;
        }
      } else if (event == 2) {
        CHECK((life.slots.keep() == Code::kOk) == trial);
        trial = false;
      } else if (event == 3) {
        const bool back = life.slots.put_back(Reason::kTold) == Code::kOk;
        CHECK(back == (older >= 0));
        if (back) {
          running = older;
          older = -1;
          trial = false;
          CHECK(life.boot());
        }
      } else {
        CHECK(life.slots.mark_healthy() == Code::kOk);
      }
      CHECK(life.runs_image(running) && (life.slots.facts().phase == Phase::kOnTrial) == trial && life.restarts == 0);
    }
  }
}

}  // namespace

int main() {
  for (int i = 0; i < kImages; ++i) make_image(&images[i], static_cast<uint8_t>(i + 1));
  RUN(checksums_and_slots_of_sequences);
  RUN(entries_byte_for_byte);
  RUN(whole_partition_digest);
  RUN(documented_states);
  RUN(first_flash_starts_with_empty_notes);
  RUN(an_update_is_kept);
  RUN(any_restart_on_trial_goes_back);
  RUN(a_brown_out_on_trial_is_tried_again);
  RUN(one_brown_out_too_many_goes_back);
  RUN(a_crash_after_a_brown_out_goes_back);
  RUN(a_second_hand_over_that_was_cut_off_is_made_good);
  RUN(brown_outs_within_the_hand_over_end_the_trial_too);
  RUN(told_back_on_trial_and_after_keeping);
  RUN(many_updates_in_turn);
  RUN(a_hand_over_that_was_cut_off_is_made_good);
  RUN(a_way_back_that_was_cut_off_is_made_good);
  RUN(a_refused_image_is_put_back_as_damaged);
  RUN(lost_notes_do_not_lose_a_kept_image);
  RUN(a_trial_that_the_boot_loader_does_not_watch_ends_too);
  RUN(without_a_record_nothing_is_touched);
  RUN(flash_that_fails_takes_no_image);
  RUN(every_sequence_of_four_events);
  return check_result();
}
