// What each chip's host.c gives: the emulator's own files, by its semihosting.
#ifndef TN_EMULATED_HOST_H
#define TN_EMULATED_HOST_H

long tn_host_read(void *to, long n);           // bytes read from the emulator's standard input; 0: there are no more
void tn_host_write(const void *from, long n);  // to its standard output
_Noreturn void tn_host_exit(int status);       // the emulator ends with this status

#endif
