// Domain names as labels with their lengths (RFC 1035 section 3.1): reads them out of a packet, bounded, and compares them.
#ifndef TN_MDNS_NAME_H
#define TN_MDNS_NAME_H

#include <stddef.h>
#include <stdint.h>

namespace tn {

constexpr size_t kNameBytes = 255;  // RFC 1035 section 3.1, with the root's zero

struct MdnsName {
  uint8_t bytes[kNameBytes];
  size_t n;
};

// Reads the name at `at`, following compression pointers backwards only, so that it always ends. `after`: where the packet goes
// on. False: malformed.
bool read_name(const uint8_t *packet, size_t n, size_t at, MdnsName *to, size_t *after);

// Up to four labels, each at most 63 bytes; null for those that there are not.
MdnsName name_of(const char *first, const char *second, const char *third, const char *fourth);
bool same_name(const MdnsName &a, const MdnsName &b);  // ASCII letters without regard to case

}  // namespace tn

#endif
