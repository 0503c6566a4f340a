// The file through which a virtual node and the bench touch: pins, heartbeat, and what the bench does to the network. 256 bytes,
// shared by mmap, little endian. The bench writes inputs, network_down and link_bytes_per_s; the node writes the rest.
#ifndef TN_PINS_FILE_H
#define TN_PINS_FILE_H

#include <stddef.h>
#include <stdint.h>

namespace tn {

constexpr size_t kHostPins = 64;

struct PinsFile {
  uint8_t inputs[kHostPins];   // 1: reads HIGH with its pull-up on (dry); 0: LOW (wet)
  uint8_t outputs[kHostPins];  // level that the node drives
  uint8_t modes[kHostPins];    // 0: input, 1: output
  uint64_t heartbeat;          // one more each loop
  uint32_t pid;
  uint8_t reserved[4];
  uint8_t network_down;        // 1: the radio is off
  uint8_t reserved_flags[3];
  uint32_t link_bytes_per_s;   // both directions together; 0: no limit
  uint32_t free_bytes;         // as the node reports them
  uint8_t reserved_end[36];
};
static_assert(sizeof(PinsFile) == 256, "pins file layout");
static_assert(offsetof(PinsFile, heartbeat) == 192 && offsetof(PinsFile, pid) == 200, "pins file layout");
static_assert(offsetof(PinsFile, network_down) == 208 && offsetof(PinsFile, link_bytes_per_s) == 212, "pins file layout");
static_assert(offsetof(PinsFile, free_bytes) == 216, "pins file layout");

// Maps an existing file of that size and makes every pin an input, as a reset does. Null: errno says why.
volatile PinsFile *open_pins_file(const char *path);

}  // namespace tn

#endif
