// Stand-in for the header of this name (see Arduino.h beside it), core 3.1.2.
#ifndef STANDIN_EBOOT_COMMAND_H
#define STANDIN_EBOOT_COMMAND_H

#include <stdint.h>

extern "C" {
enum action_t { ACTION_COPY_RAW = 0x00000001, ACTION_LOAD_APP = 0xffffffff };
struct eboot_command {
  uint32_t magic;
  enum action_t action;
  uint32_t args[29];
  uint32_t crc32;
};
void eboot_command_write(struct eboot_command *cmd);
}

#endif
