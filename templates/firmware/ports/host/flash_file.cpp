#include "flash_file.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

namespace tn {

namespace {

int fd_of(void *ctx) { return static_cast<FlashFile *>(ctx)->fd; }

bool inside(void *ctx, uint32_t at, uint32_t n) {
  const uint32_t size_bytes = static_cast<FlashFile *>(ctx)->flash.size_bytes;
  return at <= size_bytes && n <= size_bytes - at;
}

bool read_all(int fd, uint32_t at, uint8_t *to, size_t n) {
  while (n > 0) {
    const ssize_t got = pread(fd, to, n, static_cast<off_t>(at));
    if (got <= 0 && !(got < 0 && errno == EINTR)) return false;
    if (got <= 0) continue;
    to += got;
    at += static_cast<uint32_t>(got);
    n -= static_cast<size_t>(got);
  }
  return true;
}

bool write_all(int fd, uint32_t at, const uint8_t *from, size_t n) {
  while (n > 0) {
    const ssize_t put = pwrite(fd, from, n, static_cast<off_t>(at));
    if (put <= 0 && !(put < 0 && errno == EINTR)) return false;
    if (put <= 0) continue;
    from += put;
    at += static_cast<uint32_t>(put);
    n -= static_cast<size_t>(put);
  }
  return true;
}

bool flash_read(void *ctx, uint32_t at, void *to, uint32_t n) {
  return inside(ctx, at, n) && read_all(fd_of(ctx), at, static_cast<uint8_t *>(to), n);
}

bool flash_program(void *ctx, uint32_t at, const void *from, uint32_t n) {
  if (!inside(ctx, at, n)) return false;
  const uint8_t *bytes = static_cast<const uint8_t *>(from);
  uint8_t cells[256];
  for (uint32_t done = 0; done < n;) {
    const uint32_t part = n - done < sizeof cells ? n - done : static_cast<uint32_t>(sizeof cells);
    if (!read_all(fd_of(ctx), at + done, cells, part)) return false;
    for (uint32_t i = 0; i < part; ++i) cells[i] = static_cast<uint8_t>(cells[i] & bytes[done + i]);
    if (!write_all(fd_of(ctx), at + done, cells, part)) return false;
    done += part;
  }
  return true;
}

bool flash_erase(void *ctx, uint32_t at) {
  uint8_t blank[kSectorBytes];
  memset(blank, 0xFF, sizeof blank);
  return at % kSectorBytes == 0 && inside(ctx, at, kSectorBytes) && write_all(fd_of(ctx), at, blank, sizeof blank);
}

void attach(FlashFile *to, int fd, uint32_t size_bytes) {
  to->fd = fd;
  to->flash = Flash{to, size_bytes, kSectorBytes, flash_read, flash_program, flash_erase};
}

}  // namespace

bool open_flash_file(const char *path, FlashFile *to) {
  const int fd = open(path, O_RDWR | O_CLOEXEC);
  if (fd < 0) return false;
  struct stat facts;
  if (fstat(fd, &facts) == 0) {
    const uint32_t sizes_bytes[] = {kHostFlashBytes, kOldHostFlashBytes};
    for (const uint32_t size_bytes : sizes_bytes) {
      if (facts.st_size != static_cast<off_t>(size_bytes)) continue;
      attach(to, fd, size_bytes);
      return true;
    }
  }
  close(fd);
  errno = EINVAL;
  return false;
}

bool create_flash_file(const char *path, FlashFile *to) {
  const int fd = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
  if (fd < 0) return false;
  attach(to, fd, kHostFlashBytes);
  for (uint32_t at = 0; at < kHostFlashBytes; at += kSectorBytes) {
    if (flash_erase(to, at)) continue;
    const int why = errno;
    close(fd);
    unlink(path);
    errno = why;
    return false;
  }
  return true;
}

void close_flash_file(FlashFile *file) {
  close(file->fd);
  file->fd = -1;
}

}  // namespace tn
