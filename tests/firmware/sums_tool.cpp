// Sums of messages, each as a whole and in two parts: the CRC-32 that this program is linked with, and the quick digest of the power-cut
// proof. In: length and place of the split (uint32_t each), then that many bytes, again and again. Out: one line for each.
#include <stdio.h>

#include "core/crc32.h"
#include "fast_digest.h"

namespace {

constexpr uint32_t kMost = 1 << 16;
uint8_t message[kMost];

void print_digest(uint32_t split, uint32_t n) {
  const tn::Crypto &crypto = *fast_digest::crypto();
  tn::Sha256 sum;
  uint8_t digest[32];
  crypto.sha256_begin(&sum);
  crypto.sha256_add(&sum, message, split);
  crypto.sha256_add(&sum, message + split, n - split);
  crypto.sha256_end(&sum, digest);
  for (const uint8_t byte : digest) printf("%02x", byte);
}

}  // namespace

int main() {
  uint32_t head[2];
  while (fread(head, sizeof head, 1, stdin) == 1) {
    const uint32_t n = head[0], split = head[1];
    if (n > kMost || split > n || fread(message, 1, n, stdin) != n) return 1;
    printf("%08x %08x ", tn::crc32(message, n), tn::crc32_more(tn::crc32_more(0, message, split), message + split, n - split));
    print_digest(0, n);
    printf(" ");
    print_digest(split, n);
    printf("\n");
  }
  return 0;
}
