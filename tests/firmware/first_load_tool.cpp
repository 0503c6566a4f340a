// What a node makes of a flash that was written over USB. Input: node layout (1 or 2), then the whole small flash; and the same
// without the trial record, which the core then writes itself. Output: one fact a line.
#include <stdio.h>

#include "core/credentials.h"
#include "core/otadata.h"
#include "core/slots.h"
#include "memory_flash.h"
#include "ports/host/crypto_bearssl.h"

namespace {

MemoryFlash given, made;
tn::Slots slots;

// Under the boot loader of the ESP32 family: its notes behind the slots.
tn::Partition with_notes(tn::Partition map) {
  map.otadata = {0x7000, 2 * tn::kSectorBytes};
  return map;
}
const tn::Partition kSmallWithNotes = with_notes(kSmallTwoSlot);

void print_hex(const char *name, const uint8_t *bytes, size_t n) {
  printf("%s ", name);
  for (size_t i = 0; i < n; ++i) printf("%02x", bytes[i]);
  printf("\n");
}

}  // namespace

int main() {
  const int layout = getchar();
  const tn::Partition &map = layout == 1 ? kSmallTwoSlot : kSmallCopyInPlace;
  fresh_flash(&given);
  fresh_flash(&made);
  if (fread(given.cells, 1, kSmallFlashBytes, stdin) != kSmallFlashBytes) return 1;
  tn::Credentials credentials;
  tn::Network network;
  if (!credentials.begin(&given.flash, &map) || !credentials.network(tn::Which::kKept, &network)) return 2;
  if (credentials.phase() != tn::NetworkPhase::kKept || credentials.has_name(tn::Which::kNew)) return 2;
  print_hex("key", credentials.node_key(), 32);
  printf("network %s\npassphrase %s\n", network.name, network.passphrase);
  print_hex("credentials-given", given.cells + map.credentials[0].at, tn::kSectorBytes);
  if (!tn::first_credentials(made.flash, map, credentials.node_key(), network)) return 2;
  print_hex("credentials-made", made.cells + map.credentials[0].at, tn::kSectorBytes);

  memcpy(made.cells, given.cells, kSmallFlashBytes);
  memset(made.cells + map.records[0].at, 0xFF, tn::kSectorBytes);
  tn::SlotRecord record;
  tn::Newest newest;
  if (!tn::read_record(given.flash, map, &record, &newest)) return 3;
  print_hex("given", given.cells + map.records[0].at, tn::kSectorBytes);
  const uint8_t *ticket_bytes = record.images[0].ticket;
  const size_t ticket_n = record.images[0].ticket_bytes;
  tn::Ticket ticket;
  if (tn::parse_ticket(ticket_bytes, ticket_n, *tn::bearssl_crypto(), &ticket, nullptr, nullptr, nullptr) != tn::Code::kOk) return 4;
  slots.begin(&made.flash, &map, tn::bearssl_crypto());
  if (slots.first_flash(ticket, ticket_bytes, ticket_n) != tn::Code::kOk) return 5;
  print_hex("made", made.cells + map.records[0].at, tn::kSectorBytes);

  slots.begin(&given.flash, &map, tn::bearssl_crypto());
  const tn::Choice choice = slots.choose(tn::Reset::kPowerOn);
  printf("start %d %d %u\n", static_cast<int>(choice.boot), choice.area, choice.bytes);
  if (!slots.open(0)) return 6;
  const tn::SlotFacts facts = slots.facts();
  printf("facts %s %llu %llu %u %d\n", tn::phase_text(facts.phase), static_cast<unsigned long long>(facts.sequence),
         static_cast<unsigned long long>(facts.floor), facts.boots, facts.older_image != nullptr);
  if (layout != 1) return 0;
  tn::OtaData notes;
  slots.begin(&made.flash, &kSmallWithNotes, tn::bearssl_crypto());
  const tn::Arrival arrival = slots.arrive(0, tn::Reset::kPowerOn);
  if (!tn::read_otadata(made.flash, kSmallWithNotes, &notes)) return 7;
  printf("arrives %d %d %u\n", static_cast<int>(arrival), tn::ota_selected(notes), notes.entries[tn::ota_active(notes)].state);
  return 0;
}
