// The smallest test frame that serves: CHECK counts and prints failures, RUN names a test, check_result() is main's result.
#ifndef TN_TEST_CHECK_H
#define TN_TEST_CHECK_H

#include <stdio.h>

static int check_failed = 0;
static int check_done_count = 0;
static const char *check_test = "";

#define CHECK(condition)                                                                        \
  do {                                                                                          \
    ++check_done_count;                                                                         \
    if (!(condition)) {                                                                         \
      ++check_failed;                                                                           \
      printf("FAILED %s: %s at %s:%d\n", check_test, #condition, __FILE__, __LINE__);           \
    }                                                                                           \
  } while (0)

#define RUN(test)        \
  do {                   \
    check_test = #test;  \
    test();              \
  } while (0)

static inline int check_result() {
  printf("%d checks, %d failed\n", check_done_count, check_failed);
  return check_failed == 0 && check_done_count > 0 ? 0 : 1;
}

#endif
