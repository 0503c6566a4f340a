// The networks that a virtual node finds in a file: joined and left, and the access point of the line; causes of a reset by word.
#include <stdio.h>
#include <string.h>

#include "check.h"
#include "ports/host/air.h"
#include "ports/host/host_port.h"

namespace {

const char *path;
uint64_t now_ms = 1000;
tn::Air air;

void put(const char *text) {
  FILE *const file = fopen(path, "w");
  fputs(text, file);
  fclose(file);
  now_ms += 100;
}

void an_access_point_may_follow() {
  uint8_t bssid[6] = {}, channel = 0;
  put("stable\tother\t0a:0b:0c:0d:0e:0f\t1\nbarn\tpassphrase\t02:10:20:30:40:50\t11\n");
  air.start(path);
  air.tune("barn", "passphrase");
  CHECK(air.joined(now_ms) && air.access_point(now_ms, bssid, &channel));
  CHECK(memcmp(bssid, "\x02\x10\x20\x30\x40\x50", 6) == 0 && channel == 11);
  air.tune("barn", "passphras");
  CHECK(!air.joined(now_ms) && !air.access_point(now_ms, bssid, &channel));
  air.tune("barn", "passphrase");
  put("barn\tpassphrase and more\n");
  CHECK(!air.joined(now_ms));
  put("barn\tpassphrase\n");
  CHECK(air.joined(now_ms) && !air.access_point(now_ms, bssid, &channel));
  put("barn\tpassphrase\tno address\t3\n");
  CHECK(air.joined(now_ms) && !air.access_point(now_ms, bssid, &channel));
  put("barn\tpassphrase\t02:10:20:30:40:51\t13\n");
  CHECK(air.access_point(now_ms, bssid, &channel) && bssid[5] == 0x51 && channel == 13);
  air.tune(nullptr, nullptr);
  CHECK(!air.joined(now_ms) && !air.access_point(now_ms, bssid, &channel));
}

void causes_of_a_reset() {
  const struct {
    const char *word;
    tn::Reset is;
  } rows[] = {{"power-on", tn::Reset::kPowerOn}, {"restart", tn::Reset::kRestart}, {"watchdog", tn::Reset::kWatchdog},
              {"crash", tn::Reset::kCrash},      {"brown-out", tn::Reset::kBrownOut}};
  for (const auto &row : rows) {
    const char *words[] = {"image", "--flash", "f", "--pins", "p", "--address", "127.0.0.1", "--port", "80", "--mac",
                           "02:00:00:00:00:07", "--speed", "1", "--reset", row.word, "--slot", "a"};
    char *arguments[17];
    for (int i = 0; i < 17; ++i) arguments[i] = const_cast<char *>(words[i]);
    tn::HostArguments read = {};
    const char *wrong = nullptr;
    CHECK(tn::read_host_arguments(17, arguments, &read, &wrong) && read.reset == row.is);
  }
}

}  // namespace

int main(int, char **arguments) {
  path = arguments[1];
  RUN(an_access_point_may_follow);
  RUN(causes_of_a_reset);
  return check_result();
}
