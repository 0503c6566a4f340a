// A stand-in for a node's image that the boot loader starts: says who it is and how it was started, and reads its node key.
#include <stdio.h>
#include <string.h>

#include "core/credentials.h"
#include "core/slots.h"
#include "ports/host/crypto_bearssl.h"
#include "ports/host/flash_file.h"

int main(int count, char **arguments) {
  const char *flash = "", *slot = "", *what = "";
  printf("image %s\n", TN_TEST_IMAGE_NAME);
  for (int i = 1; i + 1 < count; i += 2) {
    printf("option %s %s\n", arguments[i], arguments[i + 1]);
    if (strcmp(arguments[i], "--flash") == 0) flash = arguments[i + 1];
    if (strcmp(arguments[i], "--slot") == 0) slot = arguments[i + 1];
    if (strcmp(arguments[i], "--what") == 0) what = arguments[i + 1];
  }
  static tn::FlashFile file;
  static tn::Slots slots;
  tn::Credentials credentials;
  const tn::Partition &partition = TN_TEST_COPIES ? tn::kHostCopyInPlace : tn::kHostTwoSlot;
  if (!tn::open_flash_file(flash, &file) || !credentials.begin(&file.flash, &partition)) return 1;
  printf("key ");
  for (int i = 0; i < 32; ++i) printf("%02x", credentials.node_key()[i]);
  slots.begin(&file.flash, &partition, tn::bearssl_crypto());
  if (!slots.open(strcmp(slot, "a") == 0 ? 0 : 1)) return 2;
  const tn::SlotFacts facts = slots.facts();
  printf("\nphase %s boots %u floor %llu\n", tn::phase_text(facts.phase), facts.boots,
         static_cast<unsigned long long>(facts.floor));
  if (strcmp(what, "update") != 0) return 0;

  // An update: ticket and image come on standard input, one after the other; the ticket's length first.
  static uint8_t body[1 << 20];
  size_t ticket_n = 0;
  if (scanf("%zu", &ticket_n) != 1 || getchar() != '\n') return 3;
  const size_t n = fread(body, 1, sizeof body, stdin);
  tn::Ticket ticket;
  if (tn::parse_ticket(body, ticket_n, *tn::bearssl_crypto(), &ticket, nullptr, nullptr, nullptr) != tn::Code::kOk) return 4;
  if (slots.begin_update(ticket, body, ticket_n) != tn::Code::kOk) return 5;
  if (slots.write(body + ticket_n, n - ticket_n) != tn::Code::kOk) return 6;
  tn::Code why = tn::Code::kOk;
  tn::Step step = tn::Step::kMore;
  while (step == tn::Step::kMore) step = slots.finish_update(&why);
  printf("update %s\n", tn::text_of(why));
  return 0;
}
