#include "mdns_name.h"

#include <string.h>

namespace tn {

namespace {

constexpr uint8_t kPointerBits = 0xC0;
constexpr size_t kLabelBytes = 63;

uint8_t lower(uint8_t c) { return c >= 'A' && c <= 'Z' ? static_cast<uint8_t>(c + 32) : c; }

bool append(MdnsName *to, const uint8_t *label, size_t n) {
  if (to->n + 1 + n > kNameBytes) return false;
  to->bytes[to->n++] = static_cast<uint8_t>(n);
  if (n > 0) memcpy(to->bytes + to->n, label, n);
  to->n += n;
  return true;
}

}  // namespace

bool read_name(const uint8_t *packet, size_t n, size_t at, MdnsName *to, size_t *after) {
  to->n = 0;
  bool jumped = false;
  for (size_t before = at; at < n;) {  // a pointer must lead to before the last place that was jumped from
    const uint8_t length = packet[at];
    if ((length & kPointerBits) == kPointerBits) {
      if (at + 1 >= n) return false;
      const size_t target = static_cast<size_t>(length & ~kPointerBits) << 8 | packet[at + 1];
      if (!jumped) *after = at + 2;
      jumped = true;
      if (target >= before) return false;
      before = at = target;
      continue;
    }
    if (length > kLabelBytes || at + 1 + length > n || !append(to, packet + at + 1, length)) return false;
    at += 1u + length;
    if (length != 0) continue;
    if (!jumped) *after = at;
    return true;
  }
  return false;
}

MdnsName name_of(const char *first, const char *second, const char *third, const char *fourth) {
  MdnsName name;
  name.n = 0;
  const char *const labels[] = {first, second, third, fourth};
  for (const char *label : labels) {
    if (label == nullptr) continue;
    append(&name, reinterpret_cast<const uint8_t *>(label), strnlen(label, kLabelBytes));
  }
  append(&name, nullptr, 0);
  return name;
}

bool same_name(const MdnsName &a, const MdnsName &b) {
  if (a.n != b.n) return false;
  for (size_t i = 0; i < a.n; ++i)  // length bytes are below 64 and so not letters
    if (lower(a.bytes[i]) != lower(b.bytes[i])) return false;
  return true;
}

}  // namespace tn
