// The emulator's files and arguments through `simcall`: number in a2, arguments in a3 and on, result in a2.
// Numbers as in qemu 7.2, target/xtensa/xtensa-semi.c: exit 1, read 3, write 4, argc 1000, argv size 1001, set argv 1002.
#include "../common/host.h"

static long simcall(long number, long first, long second, long third) {
  register long a2 __asm__("a2") = number;
  register long a3 __asm__("a3") = first;
  register long a4 __asm__("a4") = second;
  register long a5 __asm__("a5") = third;
  __asm__ volatile("simcall" : "+r"(a2), "+r"(a3) : "r"(a4), "r"(a5) : "memory");
  return a2;
}

long tn_host_read(void *to, long n) { return simcall(3, 0, (long)to, n); }

void tn_host_write(const void *from, long n) { simcall(4, 1, (long)from, n); }

void tn_host_exit(int status) {
  for (;;) simcall(1, status, 0, 0);
}

// The emulator writes the pointers and then the texts into one room.
char *tn_argument_texts[256];

// For start.S: how many there are.
int tn_arguments(void);
int tn_arguments(void) {
  if (simcall(1001, 0, 0, 0) > (long)sizeof tn_argument_texts) return 0;
  simcall(1002, (long)tn_argument_texts, 0, 0);
  return (int)simcall(1000, 0, 0, 0);
}
