// The credentials sector: written at the first flash over USB, never part of an image. Network name and passphrase are empty
// on the bench, which has no radio.
#ifndef TN_CREDENTIALS_H
#define TN_CREDENTIALS_H

#include "partition.h"
#include "port.h"

namespace tn {

struct Credentials {
  uint8_t node_key[32];
  char network[33];     // NUL-terminated
  char passphrase[64];  // NUL-terminated
};

bool read_credentials(const Flash &flash, const Partition &partition, Credentials *to);  // false: absent or damaged
bool write_credentials(const Flash &flash, const Partition &partition, const Credentials &from);

}  // namespace tn

#endif
