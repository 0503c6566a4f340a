// The host's flash file keeps the rules of NOR flash, and the credentials sector keeps what is written to it. argv[1]: a path that
// does not exist yet.
#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "check.h"
#include "core/credentials.h"
#include "ports/host/flash_file.h"

namespace {

const char *path;
tn::FlashFile file;

void fresh_file_is_erased() {
  uint8_t bytes[tn::kSectorBytes];
  CHECK(tn::create_flash_file(path, &file));
  for (uint32_t at = 0; at < tn::kHostFlashBytes; at += tn::kSectorBytes) {
    CHECK(file.flash.read(&file, at, bytes, sizeof bytes));
    bool blank = true;
    for (const uint8_t byte : bytes) blank = blank && byte == 0xFF;
    CHECK(blank);
  }
  struct stat facts;
  CHECK(stat(path, &facts) == 0 && (facts.st_mode & 077) == 0);  // it will hold the node key
}

void an_existing_file_is_not_made_anew() {
  tn::FlashFile other;
  CHECK(!tn::create_flash_file(path, &other) && errno == EEXIST);
}

void program_only_clears_bits_and_erase_sets_them() {
  const uint8_t first[3] = {0xF0, 0x0F, 0xAA}, second[3] = {0xCC, 0xFF, 0x00};
  uint8_t got[5];
  CHECK(file.flash.program(&file, 0x5FFE, first, sizeof first));  // across a sector
  CHECK(file.flash.program(&file, 0x5FFE, second, sizeof second));
  CHECK(file.flash.read(&file, 0x5FFD, got, sizeof got));
  CHECK(got[0] == 0xFF && got[1] == 0xC0 && got[2] == 0x0F && got[3] == 0x00 && got[4] == 0xFF);
  CHECK(file.flash.erase(&file, 0x5000));
  CHECK(file.flash.read(&file, 0x5FFD, got, sizeof got));
  CHECK(got[1] == 0xFF && got[2] == 0xFF && got[3] == 0x00);  // the next sector stays
}

void nothing_outside_is_touched() {
  uint8_t byte = 0;
  CHECK(!file.flash.erase(&file, 0x5001));
  CHECK(!file.flash.erase(&file, tn::kHostFlashBytes));
  CHECK(!file.flash.program(&file, tn::kHostFlashBytes, &byte, 1));
  CHECK(!file.flash.read(&file, tn::kHostFlashBytes - 1, &byte, 2));
  CHECK(!file.flash.read(&file, 0xFFFFFFFF, &byte, 2));
  CHECK(file.flash.read(&file, tn::kHostFlashBytes - 1, &byte, 1) && byte == 0xFF);
}

void credentials_are_kept_and_damage_is_seen() {
  tn::Credentials out;
  uint8_t key[32];
  tn::Network in = {}, back;
  CHECK(!out.begin(&file.flash, &tn::kHostTwoSlot));
  for (uint8_t i = 0; i < 32; ++i) key[i] = static_cast<uint8_t>(3 * i);
  snprintf(in.name, sizeof in.name, "%s", "north-field-barns-and-paddocks-2");   // 32, the longest name of a network
  snprintf(in.passphrase, sizeof in.passphrase, "%063d", 7);
  CHECK(tn::first_credentials(file.flash, tn::kHostTwoSlot, key, in));
  CHECK(out.begin(&file.flash, &tn::kHostCopyInPlace) && memcmp(out.node_key(), key, sizeof key) == 0);
  CHECK(out.network(tn::Which::kKept, &back) && memcmp(&in, &back, sizeof in) == 0);
  for (uint32_t at = 0; at < sizeof(tn::CredentialsRecord); ++at) {
    uint8_t sector[tn::kSectorBytes], damaged;
    CHECK(file.flash.read(&file, 0, sector, sizeof sector));
    damaged = static_cast<uint8_t>(sector[at] ^ 0x10);
    CHECK(pwrite(file.fd, &damaged, 1, at) == 1);
    CHECK(!out.begin(&file.flash, &tn::kHostTwoSlot));
    CHECK(pwrite(file.fd, &sector[at], 1, at) == 1);
  }
  CHECK(out.begin(&file.flash, &tn::kHostTwoSlot));
}

void it_is_the_same_when_opened_again() {
  tn::close_flash_file(&file);
  tn::Credentials out;
  CHECK(tn::open_flash_file(path, &file));
  CHECK(out.begin(&file.flash, &tn::kHostTwoSlot) && out.node_key()[31] == 93);
  tn::close_flash_file(&file);
  CHECK(truncate(path, tn::kOldHostFlashBytes) == 0);  // made before there was a record of runs: as large as ever
  uint8_t byte;
  CHECK(tn::open_flash_file(path, &file) && file.flash.size_bytes == tn::kOldHostFlashBytes);
  CHECK(out.begin(&file.flash, &tn::kHostTwoSlot) && !file.flash.read(&file, tn::kHostTwoSlot.runs.at, &byte, 1));
  CHECK(!file.flash.erase(&file, tn::kHostTwoSlot.runs.at));
  tn::close_flash_file(&file);
  CHECK(truncate(path, 4096) == 0);
  CHECK(!tn::open_flash_file(path, &file) && errno == EINVAL);
}

}  // namespace

int main(int count, char **arguments) {
  if (count != 2) return 2;
  path = arguments[1];
  RUN(fresh_file_is_erased);
  RUN(an_existing_file_is_not_made_anew);
  RUN(program_only_clears_bits_and_erase_sets_them);
  RUN(nothing_outside_is_touched);
  RUN(credentials_are_kept_and_damage_is_seen);
  RUN(it_is_the_same_when_opened_again);
  return check_result();
}
