// Structured fields (RFC 8941) as far as signatures need them: a dictionary's members, an inner list's text, parameters.
#ifndef TN_STRUCTURED_H
#define TN_STRUCTURED_H

#include "slice.h"

namespace tn {

enum class FieldKind : uint8_t { kTrue, kString, kToken, kBytes, kNumber, kBoolean, kInnerList };

// One member or parameter. `value` is the bare item: a string without its quotes (a string with escapes keeps the backslashes),
// a byte sequence without its colons, an inner list with its brackets. `params`: `;...` after it, raw. `whole`: value and
// params as received.
struct FieldItem {
  Slice key;
  FieldKind kind;
  Slice value;
  Slice params;
  Slice whole;
};

struct Field {
  const char *at;
  size_t left;
};

inline Field field_over(Slice text) { return Field{text.at, text.n}; }

enum class FieldNext : uint8_t { kItem, kEnd, kBad };
FieldNext next_member(Field *dictionary, FieldItem *to);  // members of a dictionary, one by one; a bad one ends it
FieldNext next_param(Field *params, FieldItem *to);       // `;key=value` of FieldItem::params

// The whole dictionary is read; the last member of that key counts (RFC 8941 section 4.2.2).
FieldNext find_member(Slice dictionary, const char *key, FieldItem *to);  // kEnd: well-formed, without that key
bool bare_bytes(Slice text, FieldItem *to);                               // an item that is one byte sequence, no parameters

}  // namespace tn

#endif
