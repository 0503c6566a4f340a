#include "crc32.h"

namespace tn {

uint32_t crc32_more(uint32_t crc, const void *data, size_t n) {
  // A table of 16 entries: small enough for a boot loader, fast enough for a few KiB.
  static const uint32_t kNibble[16] = {
      0x00000000u, 0x1DB71064u, 0x3B6E20C8u, 0x26D930ACu, 0x76DC4190u, 0x6B6B51F4u, 0x4DB26158u, 0x5005713Cu,
      0xEDB88320u, 0xF00F9344u, 0xD6D6A3E8u, 0xCB61B38Cu, 0x9B64C2B0u, 0x86D3D2D4u, 0xA00AE278u, 0xBDBDF21Cu,
  };
  const uint8_t *at = static_cast<const uint8_t *>(data);
  crc = ~crc;
  for (size_t i = 0; i < n; ++i) {
    crc ^= at[i];
    crc = (crc >> 4) ^ kNibble[crc & 15u];
    crc = (crc >> 4) ^ kNibble[crc & 15u];
  }
  return ~crc;
}

uint32_t crc32(const void *data, size_t n) { return crc32_more(0, data, n); }

}  // namespace tn
