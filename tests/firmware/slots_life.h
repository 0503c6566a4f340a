// Lives of a node for the tests of slots: images with known bytes, first flash, updates, restarts.
#ifndef TN_TEST_SLOTS_LIFE_H
#define TN_TEST_SLOTS_LIFE_H

#include "core/slots.h"
#include "idf_boot.h"
#include "memory_flash.h"
#include "ports/host/crypto_bearssl.h"

constexpr uint32_t kMostImageBytes = 61 * tn::kSectorBytes;
inline uint32_t image_bytes = 4501;  // of every image: a sector and a bit; not a whole number of pages
inline const tn::Crypto *test_crypto = tn::bearssl_crypto();

struct TestImage {
  uint8_t bytes[kMostImageBytes];
  tn::Ticket ticket;
};

constexpr int kMostMadeImages = 16;
inline const TestImage *made_images[kMostMadeImages];  // what a boot loader that checks images itself takes for one
inline int made_count = 0;

inline void make_image(TestImage *image, uint8_t number) {
  if (made_count < kMostMadeImages) made_images[made_count++] = image;
  uint32_t state = number * 2654435761u;
  for (uint32_t i = 0; i < image_bytes; ++i) {
    state = state * 1664525u + 1013904223u;
    image->bytes[i] = static_cast<uint8_t>(state >> 24);
  }
  memset(&image->ticket, 0, sizeof image->ticket);
  image->ticket.sequence = number;
  image->ticket.size_bytes = image_bytes;
  tn::Sha256 sha;
  test_crypto->sha256_begin(&sha);
  test_crypto->sha256_add(&sha, image->bytes, image_bytes);
  test_crypto->sha256_end(&sha, image->ticket.sha256);
}

const uint8_t kTicketText[] = "ticket";

inline void begin(tn::Slots *slots, const MemoryFlash &m, const tn::Partition &partition) {
  slots->begin(&m.flash, &partition, test_crypto);
}

inline tn::Code first_flash(MemoryFlash *m, const tn::Partition &partition, const TestImage &image) {
  for (uint32_t at = 0; at < image_bytes; at += tn::kSectorBytes) {
    const uint32_t n = image_bytes - at < tn::kSectorBytes ? image_bytes - at : tn::kSectorBytes;
    m->flash.program(m, partition.images[0].at + at, image.bytes + at, n);
  }
  tn::Slots slots;
  begin(&slots, *m, partition);
  return slots.first_flash(image.ticket, kTicketText, sizeof kTicketText);
}

// Does that area really hold that image? Looks at the cells, not at the record.
inline bool holds(const MemoryFlash &m, const tn::Partition &partition, uint8_t area, const TestImage &image) {
  return memcmp(m.cells + partition.images[area].at, image.bytes, image_bytes) == 0;
}

inline bool holds_any(const MemoryFlash &m, const tn::Partition &partition, uint8_t slot) {
  for (int i = 0; i < made_count; ++i)
    if (holds(m, partition, slot, *made_images[i])) return true;
  return false;
}

// Under the boot loader of the ESP32 family: the image's first word may be that it wants to be started again.
inline tn::Choice start_under_idf(tn::Slots *slots, MemoryFlash *m, const tn::Partition &partition, tn::Reset cause) {
  for (int again = 0; again < 4; ++again) {
    const int slot = idf::start(m, partition, holds_any);
    if (slot < 0) break;
    const uint8_t area = static_cast<uint8_t>(slot);
    begin(slots, *m, partition);
    const uint32_t operations = m->operations;
    if (slots->arrive(area, cause) == tn::Arrival::kRestart) {
      cause = tn::Reset::kRestart;
      continue;
    }
    if (!slots->open(area)) break;
    return tn::Choice{tn::Boot::kStart, area, slots->facts().image_bytes, m->operations > operations && !m->dead};
  }
  return tn::Choice{tn::Boot::kNothingWhole, 0, 0, false};
}

// The ESP8266's boot loader: copies whole sectors, compares nothing, forgets its order when it is done or power goes (facts A8).
inline bool copy_as_ordered(MemoryFlash *m) {
  m->order.copying = true;
  for (uint32_t done = 0; done < m->order.bytes; done += tn::kSectorBytes) {
    uint8_t sector[tn::kSectorBytes];
    if (!memory_read(m, m->order.from + done, sector, sizeof sector) || !memory_erase(m, m->order.to + done)) return false;
    if (!memory_program(m, m->order.to + done, sector, sizeof sector)) return false;
  }
  m->order = CopyOrder{false, false, 0, 0, 0};
  return true;
}

// And the node's own first word under it. Where the running area holds no whole image, nothing of ours runs any more.
inline tn::Choice start_in_place(tn::Slots *slots, MemoryFlash *m, const tn::Partition &partition, tn::Reset cause) {
  const tn::Choice nothing = {tn::Boot::kNothingWhole, 0, 0, false};
  for (int again = 0; again < 20; ++again) {
    if (m->order.given && !copy_as_ordered(m)) return nothing;
    if (!holds_any(*m, partition, 0)) return nothing;
    begin(slots, *m, partition);
    const tn::InPlace what = slots->start_in_place(cause);
    if (m->dead) return nothing;
    if (!what.copy) {
      begin(slots, *m, partition);
      slots->open(0);
      return what.choice;
    }
    m->order = CopyOrder{true, false, what.from, what.to, what.bytes};
    cause = tn::Reset::kRestart;
  }
  return nothing;
}

inline tn::Choice start(tn::Slots *slots, const MemoryFlash &m, const tn::Partition &partition,
                        tn::Reset cause = tn::Reset::kPowerOn) {
  if (partition.otadata.bytes != 0) return start_under_idf(slots, static_cast<MemoryFlash *>(m.flash.ctx), partition, cause);
  if (m.copies_when_told) return start_in_place(slots, static_cast<MemoryFlash *>(m.flash.ctx), partition, cause);
  begin(slots, m, partition);
  const tn::Choice choice = slots->choose(cause);
  if (choice.boot == tn::Boot::kStart) {
    begin(slots, m, partition);  // another program: the boot loader's state is gone
    slots->open(choice.area);
  }
  return choice;
}

// kDone: the node must restart now.
inline tn::Step send_as(tn::Slots *slots, const TestImage &image, uint64_t sequence, tn::Code *why) {
  tn::Ticket ticket = image.ticket;
  ticket.sequence = sequence;
  *why = slots->begin_update(ticket, kTicketText, sizeof kTicketText);
  if (*why != tn::Code::kOk) return tn::Step::kRefused;
  for (uint32_t at = 0; at < image_bytes; at += 700) {
    const uint32_t n = image_bytes - at < 700 ? image_bytes - at : 700;
    *why = slots->write(image.bytes + at, n);
    if (*why != tn::Code::kOk) return tn::Step::kRefused;
  }
  tn::Step step = tn::Step::kMore;
  while (step == tn::Step::kMore) step = slots->finish_update(why);
  return step;
}

inline tn::Step send(tn::Slots *slots, const TestImage &image, tn::Code *why) {
  return send_as(slots, image, image.ticket.sequence, why);
}

inline bool runs(const tn::Slots &slots, const TestImage &image) {
  return memcmp(slots.facts().image, image.ticket.sha256, 32) == 0;
}

#endif
