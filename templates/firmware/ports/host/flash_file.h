// tn::Flash over a file, with the rules of NOR flash: erase sets a sector to 0xFF, program only clears bits.
#ifndef TN_FLASH_FILE_H
#define TN_FLASH_FILE_H

#include "../../core/partition.h"
#include "../../core/port.h"

namespace tn {

struct FlashFile {
  int fd;
  Flash flash;  // its ctx is this struct: do not move it after opening
};

bool open_flash_file(const char *path, FlashFile *to);    // an existing file of kHostFlashBytes, or of the former size; false: errno says why
bool create_flash_file(const char *path, FlashFile *to);  // a fresh one, all 0xFF; the path must not exist
void close_flash_file(FlashFile *file);

}  // namespace tn

#endif
