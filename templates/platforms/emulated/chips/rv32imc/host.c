// The emulator's files through semihosting ("RISC-V Semihosting" specification 0.2, which takes its calls from Arm's): number in
// a0, block of arguments at a1. picolibc's own streams are not used: qemu 7.2 sends what they write to its standard error.
#include "../common/host.h"

enum { kOpen = 1, kWrite = 5, kRead = 6, kExit = 0x20, kApplicationExit = 0x20026 };

static long semihost(long number, void *block) {
  register long a0 __asm__("a0") = number;
  register void *a1 __asm__("a1") = block;
  __asm__ volatile(
      ".option push\n.option norvc\n.balign 16\n"
      "slli x0, x0, 0x1f\nebreak\nsrai x0, x0, 7\n.option pop"
      : "+r"(a0)
      : "r"(a1)
      : "memory");
  return a0;
}

// `:tt` is the console: mode 0 is its input, 4 its output.
static long console(long mode) {
  static const char name[] = ":tt";
  long block[3] = {(long)name, mode, sizeof name - 1};
  return semihost(kOpen, block);
}

long tn_host_read(void *to, long n) {
  static long input = -1;
  if (input < 0) input = console(0);
  long block[3] = {input, (long)to, n};
  return n - semihost(kRead, block);  // the call says how many are left
}

void tn_host_write(const void *from, long n) {
  static long output = -1;
  if (output < 0) output = console(4);
  long block[3] = {output, (long)from, n};
  semihost(kWrite, block);
}

void tn_host_exit(int status) {
  long block[2] = {kApplicationExit, status};
  for (;;) semihost(kExit, block);
}
