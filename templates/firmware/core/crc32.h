// CRC-32 of IEEE 802.3, as zlib computes it. Bit by bit: no table in RAM, and nothing here is long.
#ifndef TN_CRC32_H
#define TN_CRC32_H

#include <stddef.h>
#include <stdint.h>

namespace tn {

uint32_t crc32(const void *data, size_t n);
uint32_t crc32_more(uint32_t crc, const void *data, size_t n);  // goes on from a crc of what came before; 0 to begin

}  // namespace tn

#endif
