// picolibc's standard streams and exit, over the emulator's.
#include <stdio.h>
#include <stdlib.h>

#include "host.h"

static char out[512];
static int out_n;

static int flush(FILE *stream) {
  (void)stream;
  if (out_n > 0) tn_host_write(out, out_n);
  out_n = 0;
  return 0;
}

static int put(char c, FILE *stream) {
  out[out_n++] = c;
  if (out_n == (int)sizeof out) flush(stream);
  return 0;
}

static int get(FILE *stream) {
  static unsigned char in[512];
  static long in_n, in_at;
  (void)stream;
  if (in_at == in_n) {
    in_n = tn_host_read(in, sizeof in);
    in_at = 0;
    if (in_n <= 0) {
      in_n = 0;
      return _FDEV_EOF;
    }
  }
  return in[in_at++];
}

static FILE streams = FDEV_SETUP_STREAM(put, get, flush, _FDEV_SETUP_RW);
FILE *const stdin = &streams;
FILE *const stdout = &streams;
FILE *const stderr = &streams;

void _exit(int status) {
  flush(stdout);
  tn_host_exit(status);
}

// Nothing is torn down before the emulation ends.
void exit(int status) { _exit(status); }
