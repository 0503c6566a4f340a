// Text that was received: a place and a length in somebody else's buffer, not terminated. `at` is null when absent.
#ifndef TN_SLICE_H
#define TN_SLICE_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>

namespace tn {

struct Slice {
  const char *at;
  size_t n;
};

inline Slice slice(const char *s) { return Slice{s, s == nullptr ? 0 : strlen(s)}; }
inline bool same(Slice a, Slice b) { return a.n == b.n && (a.n == 0 || memcmp(a.at, b.at, a.n) == 0); }

}  // namespace tn

#endif
