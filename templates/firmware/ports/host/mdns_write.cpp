// The writing half of mdns_answer.h.
#include <string.h>

#include "mdns_answer.h"
#include "mdns_record.h"

namespace tn {

namespace {

constexpr uint16_t kAnswerFlags = 0x8400;  // response, authoritative

struct Writer {
  uint8_t *to;
  size_t room;
  size_t n;
  bool over;
  // where names were first written, 0 for not yet: later ones point there
  size_t domain_at, type_at, instance_at, host_at;
};

void put_u8(Writer *w, uint8_t value) {
  if (w->n >= w->room) {
    w->over = true;
    return;
  }
  w->to[w->n++] = value;
}

void put_u16(Writer *w, uint16_t value) {
  put_u8(w, static_cast<uint8_t>(value >> 8));
  put_u8(w, static_cast<uint8_t>(value));
}

void put_u32(Writer *w, uint32_t value) {
  put_u16(w, static_cast<uint16_t>(value >> 16));
  put_u16(w, static_cast<uint16_t>(value));
}

void put_string(Writer *w, const char *text) {  // a length and the bytes: a label, or one string of TXT
  const size_t n = strlen(text);
  put_u8(w, static_cast<uint8_t>(n));
  for (size_t i = 0; i < n; ++i) put_u8(w, static_cast<uint8_t>(text[i]));
}

bool pointed(Writer *w, size_t *at) {
  if (*at != 0) {
    put_u16(w, static_cast<uint16_t>(0xC000u | *at));
    return true;
  }
  *at = w->n;
  return false;
}

void put_domain(Writer *w) {
  if (pointed(w, &w->domain_at)) return;
  put_string(w, kDomainLabel);
  put_u8(w, 0);
}

void put_type(Writer *w) {
  if (pointed(w, &w->type_at)) return;
  put_string(w, kServiceLabel);
  put_string(w, kTransportLabel);
  put_domain(w);
}

void put_instance(Writer *w, const MdnsNames &names) {
  if (pointed(w, &w->instance_at)) return;
  put_string(w, names.label);
  put_type(w);
}

void put_host(Writer *w, const MdnsNames &names) {
  if (pointed(w, &w->host_at)) return;
  put_string(w, names.label);
  put_domain(w);
}

void put_enumeration(Writer *w) {
  put_string(w, kEnumerationLabel);
  put_string(w, kDnsSdLabel);
  put_string(w, kUdpLabel);
  put_domain(w);
}

void put_owner(Writer *w, const MdnsNames &names, uint32_t record) {
  if (record == kMdnsEnumeration) put_enumeration(w);
  else if (record == kMdnsPointer) put_type(w);
  else if (record == kMdnsAddress || record == kMdnsNoMoreHost) put_host(w, names);
  else put_instance(w, names);
}

void put_data(Writer *w, const MdnsNames &names, uint32_t record) {
  switch (record) {
    case kMdnsEnumeration: put_type(w); break;
    case kMdnsPointer: put_instance(w, names); break;
    case kMdnsService:
      put_u32(w, 0);  // priority, weight
      put_u16(w, names.http_port);
      put_host(w, names);
      break;
    case kMdnsText:
      for (const char *text : names.text)
        if (*text != '\0') put_string(w, text);
      break;
    case kMdnsAddress:
      for (const uint8_t part : names.address) put_u8(w, part);
      break;
    case kMdnsNoMoreService: {  // bits of types 16 and 33, RFC 4034 section 4.1.2
      const uint8_t map[] = {0, 5, 0, 0, 0x80, 0, 0x40};
      put_instance(w, names);
      for (const uint8_t byte : map) put_u8(w, byte);
      break;
    }
    default: {  // kMdnsNoMoreHost: bit of type 1
      const uint8_t map[] = {0, 1, 0x40};
      put_host(w, names);
      for (const uint8_t byte : map) put_u8(w, byte);
      break;
    }
  }
}

uint32_t life_s(uint32_t record, MdnsKind kind) {
  if (kind == MdnsKind::kGoodbye) return 0;
  const uint32_t life = record_life_s(record);
  return kind == MdnsKind::kLegacy && life > kLegacyLife_s ? kLegacyLife_s : life;
}

uint16_t put_records(Writer *w, const MdnsNames &names, uint32_t records, MdnsKind kind) {
  uint16_t count = 0;
  for (int i = 0; i < kMdnsRecords; ++i) {
    const uint32_t record = 1u << i;
    if ((records & record) == 0) continue;
    const bool flush = (record & kMdnsShared) == 0 && kind != MdnsKind::kLegacy;
    put_owner(w, names, record);
    put_u16(w, record_type(record));
    put_u16(w, flush ? kClassIn | kTopBit : kClassIn);
    put_u32(w, life_s(record, kind));
    const size_t length_at = w->n;
    put_u16(w, 0);
    put_data(w, names, record);
    if (w->over) return count;
    const size_t length = w->n - length_at - 2;
    w->to[length_at] = static_cast<uint8_t>(length >> 8);
    w->to[length_at + 1] = static_cast<uint8_t>(length);
    ++count;
  }
  return count;
}

// What the asker would ask for next (RFC 6763 section 12).
uint32_t additional_to(uint32_t records) {
  uint32_t more = 0;
  if (records & kMdnsPointer) more |= kMdnsService | kMdnsText | kMdnsAddress;
  if (records & kMdnsService) more |= kMdnsAddress;
  return more & ~records;
}

}  // namespace

size_t mdns_write(const MdnsNames &names, uint32_t records, MdnsKind kind, const uint8_t *query, size_t question_bytes,
                  uint8_t *to, size_t room) {
  Writer w = {to, room, 0, false, 0, 0, 0, 0};
  const bool legacy = kind == MdnsKind::kLegacy;
  for (int i = 0; i < 2; ++i) put_u8(&w, legacy ? query[i] : 0);
  put_u16(&w, kAnswerFlags);
  put_u16(&w, legacy ? 1 : 0);
  for (int i = 0; i < 3; ++i) put_u16(&w, 0);  // counts: below
  if (legacy)
    for (size_t i = 0; i < question_bytes; ++i) put_u8(&w, query[kHeaderBytes + i]);
  const uint16_t answers = put_records(&w, names, records, kind);
  const uint16_t more = kind == MdnsKind::kGoodbye ? 0 : put_records(&w, names, additional_to(records), kind);
  if (w.over) return 0;
  to[6] = static_cast<uint8_t>(answers >> 8);
  to[7] = static_cast<uint8_t>(answers);
  to[10] = static_cast<uint8_t>(more >> 8);
  to[11] = static_cast<uint8_t>(more);
  return w.n;
}

}  // namespace tn
