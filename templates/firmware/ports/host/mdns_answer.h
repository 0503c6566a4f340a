// Bytes of multicast DNS: reads a query without trusting it, and makes the answer of one node. No sockets, no clock.
#ifndef TN_MDNS_ANSWER_H
#define TN_MDNS_ANSWER_H

#include <stddef.h>
#include <stdint.h>

namespace tn {

constexpr size_t kMdnsPacketBytes = 1472;  // fits one Ethernet frame, what a board can send

// What a node says about itself.
struct MdnsNames {
  char node[64];
  char txt[5][112];  // `id=...`, `ver=...`, `img=...`, `board=...`, `phase=...`
  uint8_t address[4];
  uint16_t http_port;
};

// Records of a node, as bits.
enum MdnsRecord : uint32_t {
  kMdnsEnumeration = 1u,  // _services._dns-sd._udp.local PTR
  kMdnsPointer = 2u,      // _tanknode._tcp.local PTR
  kMdnsService = 4u,      // NODE._tanknode._tcp.local SRV
  kMdnsText = 8u,         // NODE._tanknode._tcp.local TXT
  kMdnsAddress = 16u,     // NODE.local A
  kMdnsAll = 31u,
};
constexpr uint32_t kMdnsShared = kMdnsEnumeration | kMdnsPointer;  // others answer for these names too: delay, no flush bit

struct MdnsAsked {
  uint16_t id;
  uint32_t multicast;  // records to be answered to the group, less the known ones
  uint32_t unicast;    // records asked for with the QU bit, less the known ones
  bool truncated;      // more known answers follow in another packet
  size_t question_bytes;  // of the first question, when it asks for something of ours; legacy answers repeat it
};

// False: not a query, or it does not parse. Never reads outside of packet[0..n).
bool mdns_read(const uint8_t *packet, size_t n, const MdnsNames &names, MdnsAsked *to);

enum class MdnsKind : uint8_t { kAnswer, kGoodbye, kLegacy };
// Bytes written to `to` (at most room), 0 when it does not fit. `query`, `query_question_bytes`: for kLegacy, whose id and first
// question are repeated and whose time to live is at most 10 s (RFC 6762 section 6.7).
size_t mdns_write(const MdnsNames &names, uint32_t records, MdnsKind kind, const uint8_t *query,
                  size_t query_question_bytes, uint8_t *to, size_t room);

}  // namespace tn

#endif
