// A whole node under the boot loader of the ESP32 family, at the moments when record and boot loader disagree.
#include "check.h"
#include "idf_boot.h"
#include "node_world.h"

namespace {

using namespace world;

tn::Ticket ticket_of(int image, uint64_t sequence, sign::Bytes *bytes) {
  *bytes = sign::ticket(fields_of(image, sequence), &w.key);
  tn::Ticket ticket;
  CHECK(tn::parse_ticket(bytes->at, bytes->n, *tn::bearssl_crypto(), &ticket, nullptr, nullptr, nullptr) == tn::Code::kOk);
  return ticket;
}

// Power went after the record of the image on trial, before the boot loader heard of it.
void leave_a_hand_over_undone() {
  first_flash();
  sign::Bytes bytes;
  const tn::Ticket ticket = ticket_of(1, 6, &bytes);
  tn::Slots slots;
  tn::Code why;
  slots.begin(&w.flash.flash, &kSmallTwoSlot, tn::bearssl_crypto());  // a map without the boot loader's notes
  CHECK(slots.open(0) && slots.begin_update(ticket, bytes.at, bytes.n) == tn::Code::kOk);
  CHECK(slots.write(w.images[1], kImageN) == tn::Code::kOk);
  while (slots.finish_update(&why) == tn::Step::kMore) {
  }
  CHECK(why == tn::Code::kOk);
}

uint8_t told_to_start() {
  tn::OtaData notes;
  CHECK(tn::read_otadata(w.flash.flash, kSmallIdf, &notes));
  return tn::ota_selected(notes);
}

void a_node_that_is_what_its_record_says_goes_on() {
  first_flash();
  w.restarts = 0;
  CHECK(node.begin(&w.port, &w.block, &kSmallIdf, 0));
  pass_ms(2000);
  CHECK(w.restarts == 0 && told_to_start() == 0);
}

void a_hand_over_that_was_cut_off_restarts_the_node() {
  leave_a_hand_over_undone();
  w.restarts = 0;
  node.begin(&w.port, &w.block, &kSmallIdf, 0);
  CHECK(told_to_start() == 1);
  node.step();
  CHECK(w.restarts == 1);
  w.restarts = 0;
  CHECK(node.begin(&w.port, &w.block, &kSmallIdf, 1));  // the boot loader starts it
  tn::NodeView view;
  node.view(&view);
  sign::Bytes bytes;
  CHECK(view.slots.phase == tn::Phase::kOnTrial && memcmp(view.slots.image, ticket_of(1, 6, &bytes).sha256, 32) == 0);
  pass_ms(2000);
  CHECK(w.restarts == 0);
}

int spared = 0;
void spare(void *) { ++spared; }

// The boot loader went back to the older image after a brown-out: that hands the new one over again, which then draws less.
void a_brown_out_in_a_trial_hands_the_image_over_again() {
  leave_a_hand_over_undone();
  w.port.spare_supply = spare;
  node.begin(&w.port, &w.block, &kSmallIdf, 0);
  CHECK(node.begin(&w.port, &w.block, &kSmallIdf, 1) && spared == 0);
  tn::OtaData notes;
  CHECK(tn::read_otadata(w.flash.flash, kSmallIdf, &notes));
  CHECK(tn::ota_set_state(w.flash.flash, kSmallIdf, &notes, tn::ota_active(notes), tn::kOtaAborted) && told_to_start() != 1);
  w.restarts = 0;
  w.reset = tn::Reset::kBrownOut;
  node.begin(&w.port, &w.block, &kSmallIdf, 0);
  CHECK(told_to_start() == 1 && spared == 0);
  node.step();
  CHECK(w.restarts == 1);
  w.reset = tn::Reset::kRestart;
  CHECK(node.begin(&w.port, &w.block, &kSmallIdf, 1) && spared == 1);
  tn::NodeView view;
  node.view(&view);
  CHECK(view.slots.phase == tn::Phase::kOnTrial && view.slots.brown_outs == 1 && view.reset == tn::Reset::kRestart);
  w.port.spare_supply = nullptr;
  w.reset = tn::Reset::kPowerOn;
}

void a_trial_that_ends_tells_the_boot_loader() {
  leave_a_hand_over_undone();
  node.begin(&w.port, &w.block, &kSmallIdf, 0);
  w.restarts = 0;
  CHECK(node.begin(&w.port, &w.block, &kSmallIdf, 1));
  pass_ms(w.block.trial_s * 1000u + 2000u);
  CHECK(w.restarts == 1 && told_to_start() == 0);
}

}  // namespace

int main() {
  RUN(a_node_that_is_what_its_record_says_goes_on);
  RUN(a_hand_over_that_was_cut_off_restarts_the_node);
  RUN(a_brown_out_in_a_trial_hands_the_image_over_again);
  RUN(a_trial_that_ends_tells_the_boot_loader);
  return check_result();
}
