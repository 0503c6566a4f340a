#include "credentials.h"

#include <string.h>

#include "crc32.h"

namespace tn {

namespace {

constexpr uint32_t kMagic = 0x52434B54u;  // "TKCR" in memory order
constexpr uint16_t kVersion = 1;

struct Sector {
  uint32_t magic;
  uint16_t version;
  uint16_t length;
  uint8_t node_key[32];
  char network[36];
  char passphrase[64];
  uint8_t reserved[4];
  uint32_t crc32;
};
static_assert(sizeof(Sector) == 148, "credentials layout");

bool ended(const char *text, size_t n) { return memchr(text, 0, n) != nullptr; }

}  // namespace

bool read_credentials(const Flash &flash, const Partition &partition, Credentials *to) {
  Sector sector;
  if (!flash.read(flash.ctx, partition.credentials.at, &sector, sizeof sector)) return false;
  if (sector.magic != kMagic || sector.version != kVersion || sector.length != sizeof sector) return false;
  if (crc32(&sector, offsetof(Sector, crc32)) != sector.crc32) return false;
  if (!ended(sector.network, sizeof to->network) || !ended(sector.passphrase, sizeof to->passphrase)) return false;
  memcpy(to->node_key, sector.node_key, sizeof to->node_key);
  memcpy(to->network, sector.network, sizeof to->network);
  memcpy(to->passphrase, sector.passphrase, sizeof to->passphrase);
  return true;
}

bool write_credentials(const Flash &flash, const Partition &partition, const Credentials &from) {
  Sector sector = {};
  sector.magic = kMagic;
  sector.version = kVersion;
  sector.length = sizeof sector;
  memcpy(sector.node_key, from.node_key, sizeof from.node_key);
  memcpy(sector.network, from.network, sizeof from.network);
  memcpy(sector.passphrase, from.passphrase, sizeof from.passphrase);
  sector.crc32 = crc32(&sector, offsetof(Sector, crc32));
  Credentials back;
  return flash.erase(flash.ctx, partition.credentials.at) &&
         flash.program(flash.ctx, partition.credentials.at, &sector, sizeof sector) &&
         read_credentials(flash, partition, &back) && memcmp(&back, &from, sizeof back) == 0;
}

}  // namespace tn
