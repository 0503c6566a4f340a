// The reading half of mdns_answer.h.
#include <string.h>

#include "mdns_answer.h"
#include "mdns_name.h"
#include "mdns_record.h"

namespace tn {

namespace {

constexpr uint16_t kResponseBit = 0x8000, kOpcodeBits = 0x7800, kTruncatedBit = 0x0200;

struct Reader {
  const uint8_t *packet;
  size_t n;
  size_t at;
  bool ok;
};

uint32_t take(Reader *r, size_t bytes) {
  if (!r->ok || r->n - r->at < bytes) {
    r->ok = false;
    return 0;
  }
  uint32_t value = 0;
  for (size_t i = 0; i < bytes; ++i) value = value << 8 | r->packet[r->at++];
  return value;
}

uint16_t take_u16(Reader *r) { return static_cast<uint16_t>(take(r, 2)); }

void take_name(Reader *r, MdnsName *to) { r->ok = r->ok && read_name(r->packet, r->n, r->at, to, &r->at); }

struct OwnNames {
  MdnsName enumeration, type, instance, host;
};

OwnNames own_names(const MdnsNames &names) {
  return OwnNames{
      name_of(kEnumerationLabel, kDnsSdLabel, kUdpLabel, kDomainLabel),
      name_of(kServiceLabel, kTransportLabel, kDomainLabel, nullptr),
      name_of(names.label, kServiceLabel, kTransportLabel, kDomainLabel),
      name_of(names.label, kDomainLabel, nullptr, nullptr),
  };
}

// The records that a question of this name and type asks for.
uint32_t wanted(const OwnNames &own, const MdnsName &name, uint16_t type) {
  const bool any = type == kTypeAny;
  if (same_name(name, own.enumeration)) return any || type == kTypePtr ? kMdnsEnumeration : 0;
  if (same_name(name, own.type)) return any || type == kTypePtr ? kMdnsPointer : 0;
  if (same_name(name, own.host)) return any || type == kTypeA ? kMdnsAddress : kMdnsNoMoreHost;
  if (!same_name(name, own.instance)) return 0;
  if (any) return kMdnsService | kMdnsText;
  return type == kTypeSrv ? kMdnsService : type == kTypeTxt ? kMdnsText : kMdnsNoMoreService;
}

bool same_text(const uint8_t *data, size_t n, const MdnsNames &names) {
  size_t at = 0;
  for (const char *text : names.text) {
    const size_t length = strlen(text);
    if (length == 0) continue;
    if (n - at < 1 + length || data[at] != length || memcmp(data + at + 1, text, length) != 0) return false;
    at += 1 + length;
  }
  return at == n;
}

bool name_is(const Reader &data, size_t at, const MdnsName &own) {
  MdnsName name;
  size_t after = 0;
  return read_name(data.packet, data.n, at, &name, &after) && same_name(name, own);
}

// Is the data of a record that somebody knows that of ours? `data` stands at it; `length` bytes of it are in the packet.
bool same_data(const Reader &data, size_t length, uint32_t record, const OwnNames &own, const MdnsNames &names) {
  const uint8_t *bytes = data.packet + data.at;
  switch (record) {
    case kMdnsEnumeration: return name_is(data, data.at, own.type);
    case kMdnsPointer: return name_is(data, data.at, own.instance);
    case kMdnsService: {
      const uint8_t head[6] = {0, 0, 0, 0, static_cast<uint8_t>(names.http_port >> 8), static_cast<uint8_t>(names.http_port)};
      return length > sizeof head && memcmp(bytes, head, sizeof head) == 0 && name_is(data, data.at + sizeof head, own.host);
    }
    case kMdnsText: return same_text(bytes, length, names);
    case kMdnsAddress: return length == sizeof names.address && memcmp(bytes, names.address, sizeof names.address) == 0;
    default: return false;
  }
}

void read_question(Reader *r, const OwnNames &own, bool first, MdnsAsked *to) {
  MdnsName name;
  take_name(r, &name);
  const uint16_t type = take_u16(r);
  const uint16_t rclass = take_u16(r);
  const uint16_t plain = static_cast<uint16_t>(rclass & ~kTopBit);
  if (!r->ok || (plain != kClassIn && plain != kClassAny)) return;
  const uint32_t records = wanted(own, name, type);
  *(rclass & kTopBit ? &to->unicast : &to->multicast) |= records;
  if (first && records != 0) to->question_bytes = r->at - kHeaderBytes;
}

// RFC 6762 section 7.1: an answer is known when its data is ours and at least half of its life is left.
void read_known(Reader *r, const OwnNames &own, const MdnsNames &names, MdnsAsked *to) {
  MdnsName name;
  take_name(r, &name);
  const uint16_t type = take_u16(r);
  take_u16(r);  // class
  const uint32_t life_s = take(r, 4);
  const size_t length = take_u16(r);
  if (!r->ok || r->n - r->at < length) {
    r->ok = false;
    return;
  }
  const uint32_t record = wanted(own, name, type);
  const bool single = record != 0 && (record & (record - 1)) == 0 && type == record_type(record);
  if (single && life_s >= record_life_s(record) / 2 && same_data(*r, length, record, own, names)) to->known |= record;
  r->at += length;
}

}  // namespace

bool mdns_read(const uint8_t *packet, size_t n, const MdnsNames &names, MdnsAsked *to) {
  *to = MdnsAsked{};
  Reader r = {packet, n, 0, true};
  to->id = take_u16(&r);
  const uint16_t flags = take_u16(&r);
  const uint16_t questions = take_u16(&r);
  const uint16_t answers = take_u16(&r);
  take(&r, 4);  // authority and additional records: probes and such of others
  if (!r.ok || (flags & (kResponseBit | kOpcodeBits)) != 0) return false;
  to->truncated = (flags & kTruncatedBit) != 0;
  to->continues = questions == 0;
  const OwnNames own = own_names(names);
  for (uint16_t i = 0; i < questions && r.ok; ++i) read_question(&r, own, i == 0, to);
  for (uint16_t i = 0; i < answers && r.ok; ++i) read_known(&r, own, names, to);
  to->multicast &= ~to->known;
  to->unicast &= ~to->known;
  return r.ok;
}

}  // namespace tn
