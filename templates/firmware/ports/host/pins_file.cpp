#include "pins_file.h"

#include <errno.h>
#include <fcntl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

namespace tn {

volatile PinsFile *open_pins_file(const char *path) {
  const int fd = open(path, O_RDWR | O_CLOEXEC);
  if (fd < 0) return nullptr;
  struct stat st;
  if (fstat(fd, &st) != 0 || st.st_size != static_cast<off_t>(sizeof(PinsFile))) {
    close(fd);
    errno = EINVAL;
    return nullptr;
  }
  void *at = mmap(nullptr, sizeof(PinsFile), PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
  close(fd);
  if (at == MAP_FAILED) return nullptr;
  volatile PinsFile *pins = static_cast<volatile PinsFile *>(at);
  for (size_t i = 0; i < kHostPins; ++i) {
    pins->modes[i] = 0;
    pins->outputs[i] = 0;
  }
  pins->pid = static_cast<uint32_t>(getpid());
  return pins;
}

}  // namespace tn
