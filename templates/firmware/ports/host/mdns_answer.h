// Bytes of multicast DNS: reads a query without trusting it, and makes the answer of one node. No sockets, no clock.
#ifndef TN_MDNS_ANSWER_H
#define TN_MDNS_ANSWER_H

#include <stddef.h>
#include <stdint.h>

namespace tn {

constexpr size_t kMdnsPacketBytes = 1472;  // a UDP payload that fits one Ethernet frame

// What a node says about itself.
constexpr size_t kMdnsTexts = 6;
struct MdnsNames {
  char label[64];             // first label of the instance's and of the host's name
  char text[kMdnsTexts][80];  // `id=...`, `release=...`, `img=...`, `board=...`, `phase=...`, `bench=...`; empty: left out
  uint8_t address[4];
  uint16_t http_port;
};

// Records of a node, as bits.
constexpr uint32_t kMdnsEnumeration = 1u;     // _services._dns-sd._udp.local PTR _tanknode._tcp.local
constexpr uint32_t kMdnsPointer = 2u;         // _tanknode._tcp.local PTR LABEL._tanknode._tcp.local
constexpr uint32_t kMdnsService = 4u;         // LABEL._tanknode._tcp.local SRV
constexpr uint32_t kMdnsText = 8u;            // LABEL._tanknode._tcp.local TXT
constexpr uint32_t kMdnsAddress = 16u;        // LABEL.local A
constexpr uint32_t kMdnsNoMoreService = 32u;  // NSEC: the instance has SRV and TXT and nothing else (RFC 6762 section 6.1)
constexpr uint32_t kMdnsNoMoreHost = 64u;     // NSEC: the host has A and nothing else
constexpr int kMdnsRecords = 7;
constexpr uint32_t kMdnsShared = kMdnsEnumeration | kMdnsPointer;  // others answer for these names too: delay, no flush bit
constexpr uint32_t kMdnsOwn = kMdnsPointer | kMdnsService | kMdnsText | kMdnsAddress;  // announced, and taken back

struct MdnsAsked {
  uint16_t id;
  uint32_t multicast;     // records to be answered to the group, less the known ones
  uint32_t unicast;       // records asked for with the QU bit, less the known ones
  uint32_t known;         // records that the asker has already (RFC 6762 section 7.1)
  bool truncated;         // more known answers follow in another packet
  bool continues;         // no question: only known answers of an earlier, truncated packet
  size_t question_bytes;  // of the first question when it asks for something of ours, else 0; legacy answers repeat it
};

// False: not a query, or it does not parse. Never reads outside of packet[0..n).
bool mdns_read(const uint8_t *packet, size_t n, const MdnsNames &names, MdnsAsked *to);

enum class MdnsKind : uint8_t { kAnswer, kGoodbye, kLegacy };
// An answer with these records, and those that the asker will want next as additional ones. Bytes written to `to`, 0 when it does
// not fit. `query` and `question_bytes` are for kLegacy alone, whose id and first question are repeated and whose records live at
// most 10 s (RFC 6762 section 6.7).
size_t mdns_write(const MdnsNames &names, uint32_t records, MdnsKind kind, const uint8_t *query, size_t question_bytes,
                  uint8_t *to, size_t room);

}  // namespace tn

#endif
