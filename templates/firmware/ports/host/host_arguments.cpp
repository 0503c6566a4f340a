#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "host_port.h"
#include "reset_word.h"

namespace tn {

namespace {

bool read_mac(const char *text, uint8_t to[6]) {
  unsigned parts[6];
  int end = 0;
  const int n = sscanf(text, "%2x:%2x:%2x:%2x:%2x:%2x%n", &parts[0], &parts[1], &parts[2], &parts[3], &parts[4], &parts[5],
                       &end);
  if (n != 6 || text[end] != '\0') return false;
  for (size_t i = 0; i < 6; ++i) to[i] = static_cast<uint8_t>(parts[i]);
  return true;
}

bool read_port(const char *text, uint16_t *to) {
  char *end = nullptr;
  const long value = strtol(text, &end, 10);
  *to = static_cast<uint16_t>(value);
  return *text != '\0' && *end == '\0' && value > 0 && value < 65536;
}

bool read_speed(const char *text, double *to) {
  char *end = nullptr;
  *to = strtod(text, &end);
  return *text != '\0' && *end == '\0' && *to > 0 && *to <= 100000;
}

bool read_slot(const char *text, uint8_t *to) {
  if (strcmp(text, "a") != 0 && strcmp(text, "b") != 0) return false;
  *to = text[0] == 'a' ? 0 : 1;
  return true;
}

// A bench id (docs/bench-node.md, section 6): 8 hexadecimal digits, small.
bool is_bench_id(const char *text) { return strlen(text) == 8 && strspn(text, "0123456789abcdef") == 8; }

enum Argument { kFlash, kPins, kAddress, kPort, kMac, kSpeed, kResetWord, kSlot, kConsole, kAir, kBench, kArgumentCount };
constexpr int kNeeded = kConsole;  // those from here on may be left out
const char *const kArgumentNames[kArgumentCount] = {"--flash", "--pins", "--address", "--port", "--mac",  "--speed",
                                                    "--reset", "--slot", "--console", "--air",  "--bench"};

bool read_one(int which, const char *value, HostArguments *to) {
  switch (which) {
    case kFlash: to->flash = value; return true;
    case kPins: to->pins = value; return true;
    case kAddress: to->address = value; return true;
    case kPort: return read_port(value, &to->http_port);
    case kMac: return read_mac(value, to->mac);
    case kSpeed: return read_speed(value, &to->speed);
    case kResetWord: return read_reset(value, &to->reset);
    case kSlot: return read_slot(value, &to->area);
    case kConsole: to->console = value; return true;
    case kAir: to->air = value; return true;
    case kBench: to->bench = value; return is_bench_id(value);
    default: return false;
  }
}

}  // namespace

bool read_host_arguments(int count, char **arguments, HostArguments *to, const char **wrong) {
  bool given[kArgumentCount] = {};
  for (int i = 1; i < count; i += 2) {
    *wrong = arguments[i];
    int which = 0;
    while (which < kArgumentCount && strcmp(arguments[i], kArgumentNames[which]) != 0) ++which;
    if (which == kArgumentCount || i + 1 == count || given[which]) return false;
    given[which] = true;
    if (!read_one(which, arguments[i + 1], to)) return false;
  }
  for (int which = 0; which < kNeeded; ++which) {
    *wrong = kArgumentNames[which];
    if (!given[which]) return false;
  }
  *wrong = nullptr;
  return true;
}

}  // namespace tn
