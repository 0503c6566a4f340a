// Numbers and labels of DNS that the reading and the writing half share (RFC 1035, RFC 2782, RFC 4034, RFC 6762, RFC 6763).
#ifndef TN_MDNS_RECORD_H
#define TN_MDNS_RECORD_H

#include "mdns_answer.h"

namespace tn {

constexpr uint16_t kTypeA = 1, kTypePtr = 12, kTypeTxt = 16, kTypeSrv = 33, kTypeNsec = 47, kTypeAny = 255;
constexpr uint16_t kClassIn = 1, kClassAny = 255;
constexpr uint16_t kTopBit = 0x8000;  // of the class: QU in a question, cache-flush in a record
constexpr size_t kHeaderBytes = 12;
constexpr uint32_t kHostLife_s = 120, kOtherLife_s = 4500, kLegacyLife_s = 10;  // RFC 6762 sections 10 and 6.7

constexpr char kServiceLabel[] = "_tanknode";
constexpr char kTransportLabel[] = "_tcp";
constexpr char kDomainLabel[] = "local";
constexpr char kEnumerationLabel[] = "_services";
constexpr char kDnsSdLabel[] = "_dns-sd";
constexpr char kUdpLabel[] = "_udp";

inline uint16_t record_type(uint32_t record) {
  switch (record) {
    case kMdnsEnumeration:
    case kMdnsPointer: return kTypePtr;
    case kMdnsService: return kTypeSrv;
    case kMdnsText: return kTypeTxt;
    case kMdnsAddress: return kTypeA;
    default: return kTypeNsec;
  }
}

inline uint32_t record_life_s(uint32_t record) {
  return (record & (kMdnsShared | kMdnsText)) != 0 ? kOtherLife_s : kHostLife_s;  // whether a host is named in it
}

}  // namespace tn

#endif
