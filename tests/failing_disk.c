// A disk that fails: preloaded into a real process, it lets the k-th write, fsync or rename under a folder fail, once or
// from then on. FAIL_UNDER: the folder; FAIL_OP: write, fsync or rename (with link); FAIL_AT: k, 0 for none; FAIL_HOW:
// once or forever; FAIL_ERRNO: the number; FAIL_COUNT: where the number of such calls is written at the end.
// Programs that the process starts are left alone; a process that is forked begins anew with failing_disk_begin.
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

static atomic_int calls;
static char under[PATH_MAX], op[16], count_path[PATH_MAX];
static int at, forever, number;

__attribute__((constructor)) void failing_disk_begin(void) {
  const char *folder = getenv("FAIL_UNDER"), *which = getenv("FAIL_OP"), *count = getenv("FAIL_COUNT");
  snprintf(under, sizeof under, "%s", folder ? folder : "");
  snprintf(op, sizeof op, "%s", which ? which : "");
  snprintf(count_path, sizeof count_path, "%s", count ? count : "");
  atomic_store(&calls, 0);
  at = getenv("FAIL_AT") ? atoi(getenv("FAIL_AT")) : 0;
  number = getenv("FAIL_ERRNO") ? atoi(getenv("FAIL_ERRNO")) : ENOSPC;
  forever = getenv("FAIL_HOW") && !strcmp(getenv("FAIL_HOW"), "forever");
  unsetenv("LD_PRELOAD");
}

__attribute__((destructor)) static void end(void) {
  if (!count_path[0]) return;
  char text[16];
  int n = snprintf(text, sizeof text, "%d\n", atomic_load(&calls));
  long to = syscall(SYS_openat, AT_FDCWD, count_path, O_WRONLY | O_CREAT | O_TRUNC, 0644);
  if (to >= 0) syscall(SYS_write, to, text, n);
}

static int lies_under(const char *path) {
  size_t n = strlen(under);
  return n && !strncmp(path, under, n) && (path[n] == '/' || path[n] == 0);
}

static int fails(const char *this_op) {
  if (strcmp(op, this_op)) return 0;
  int now = atomic_fetch_add(&calls, 1) + 1;
  if (!at || (forever ? now < at : now != at)) return 0;
  errno = number;
  return 1;
}

static int fd_fails(int fd, const char *this_op) {
  char link[64], path[PATH_MAX];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t n = readlink(link, path, sizeof path - 1);
  if (n <= 0) return 0;
  path[n] = 0;
  return lies_under(path) && fails(this_op);
}

static int path_fails(const char *path) {
  char whole[PATH_MAX * 2];
  if (path[0] == '/') return lies_under(path) && fails("rename");
  char here[PATH_MAX];
  if (!getcwd(here, sizeof here)) return 0;
  snprintf(whole, sizeof whole, "%s/%s", here, path);
  return lies_under(whole) && fails("rename");
}

#define REAL(name) __typeof__(&name) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

ssize_t write(int fd, const void *data, size_t n) {
  REAL(write);
  return fd_fails(fd, "write") ? -1 : real(fd, data, n);
}
ssize_t pwrite(int fd, const void *data, size_t n, off_t where) {
  REAL(pwrite);
  return fd_fails(fd, "write") ? -1 : real(fd, data, n, where);
}
ssize_t pwrite64(int fd, const void *data, size_t n, off64_t where) {
  REAL(pwrite64);
  return fd_fails(fd, "write") ? -1 : real(fd, data, n, where);
}
ssize_t writev(int fd, const struct iovec *parts, int n) {
  REAL(writev);
  return fd_fails(fd, "write") ? -1 : real(fd, parts, n);
}
int fsync(int fd) {
  REAL(fsync);
  return fd_fails(fd, "fsync") ? -1 : real(fd);
}
int fdatasync(int fd) {
  REAL(fdatasync);
  return fd_fails(fd, "fsync") ? -1 : real(fd);
}
int rename(const char *from, const char *to) {
  REAL(rename);
  return path_fails(to) ? -1 : real(from, to);
}
int renameat(int from_fd, const char *from, int to_fd, const char *to) {
  REAL(renameat);
  return path_fails(to) ? -1 : real(from_fd, from, to_fd, to);
}
int link(const char *from, const char *to) {
  REAL(link);
  return path_fails(to) ? -1 : real(from, to);
}
int linkat(int from_fd, const char *from, int to_fd, const char *to, int flags) {
  REAL(linkat);
  return path_fails(to) ? -1 : real(from_fd, from, to_fd, to, flags);
}
