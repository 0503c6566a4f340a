// Lets a test ask the responder's bytes line by line. `read HEX`: what a query asks for. `write RECORDS KIND [QUERY BYTES]`: the
// packet. The node is one that the test knows by heart.
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ports/host/mdns_answer.h"

namespace {

tn::MdnsNames sample() {
  tn::MdnsNames names = {};
  strcpy(names.label, "upper-barn");
  strcpy(names.text[0], "id=upper-barn");
  strcpy(names.text[1], "release=1.4.0");
  strcpy(names.text[2], "img=0123456789abcdef");
  strcpy(names.text[3], "board=esp32-devkit");
  strcpy(names.text[4], "phase=on-trial");
  const uint8_t address[4] = {127, 9, 0, 1};
  memcpy(names.address, address, sizeof address);
  names.http_port = 8080;
  return names;
}

size_t from_hex(const char *hex, uint8_t *to) {
  const size_t n = strcmp(hex, "-") == 0 ? 0 : strlen(hex) / 2;
  for (size_t i = 0; i < n; ++i) {
    unsigned byte = 0;
    sscanf(hex + 2 * i, "%2x", &byte);
    to[i] = static_cast<uint8_t>(byte);
  }
  return n;
}

void read_query(const tn::MdnsNames &names, const char *hex) {
  uint8_t *packet = static_cast<uint8_t *>(malloc(strlen(hex) / 2 + 1));
  const size_t n = from_hex(hex, packet);
  uint8_t *exact = static_cast<uint8_t *>(malloc(n > 0 ? n : 1));  // so that the sanitizer sees any step beyond
  memcpy(exact, packet, n);
  tn::MdnsAsked asked;
  if (tn::mdns_read(exact, n, names, &asked))
    printf("multicast %u unicast %u known %u truncated %d continues %d question %zu id %u\n", asked.multicast, asked.unicast,
           asked.known, asked.truncated, asked.continues, asked.question_bytes, asked.id);
  else
    printf("refused\n");
  free(exact);
  free(packet);
}

void write_answer(const tn::MdnsNames &names, uint32_t records, int kind, const char *query_hex, size_t question_bytes,
                  size_t room) {
  uint8_t query[600] = {}, *packet = static_cast<uint8_t *>(malloc(room > 0 ? room : 1));
  from_hex(query_hex, query);
  const size_t n = tn::mdns_write(names, records, static_cast<tn::MdnsKind>(kind), query, question_bytes, packet, room);
  for (size_t i = 0; i < n; ++i) printf("%02x", packet[i]);
  printf("\n");
  free(packet);
}

}  // namespace

int main() {
  const tn::MdnsNames names = sample();
  char *line = nullptr;
  size_t room = 0;
  while (getline(&line, &room, stdin) > 0) {
    line[strcspn(line, "\n")] = '\0';
    unsigned records = 0;
    int kind = 0;
    char query[1200] = "-";
    size_t question_bytes = 0, answer_room = tn::kMdnsPacketBytes;
    if (strncmp(line, "read ", 5) == 0) read_query(names, line + 5);
    else if (sscanf(line, "write %u %d %1199s %zu %zu", &records, &kind, query, &question_bytes, &answer_room) >= 2)
      write_answer(names, records, kind, query, question_bytes, answer_room);
    else return 2;
  }
  free(line);
  return 0;
}
