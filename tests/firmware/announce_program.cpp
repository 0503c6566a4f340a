// A node's announcement alone: announces ADDRESS PORT NODE PHASE [BENCH], answers questions, and says goodbye when standard input ends.
// A line on standard input is a new phase.
#include <errno.h>
#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "ports/host/announce.h"

namespace {

uint64_t now_ms() {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return static_cast<uint64_t>(t.tv_sec) * 1000u + static_cast<uint64_t>(t.tv_nsec) / 1000000u;
}

}  // namespace

int main(int count, char **arguments) {
  if (count != 5 && count != 6) return 2;
  static tn::Announcer announcer;
  unsigned port = 0;
  if (sscanf(arguments[2], "%u", &port) != 1) return 2;
  if (!announcer.start(arguments[1], static_cast<uint16_t>(port), count == 6 ? arguments[5] : nullptr,
                       static_cast<uint32_t>(getpid()))) {
    fprintf(stderr, "%s: %s\n", arguments[1], strerror(errno));
    return 1;
  }
  char phase[32];
  snprintf(phase, sizeof phase, "%s", arguments[4]);
  tn::Announcement what = {arguments[3], "1.4.0", "0123456789abcdef", "esp32-devkit", phase};
  announcer.set(what, now_ms());
  for (;;) {
    struct pollfd fds[3] = {{STDIN_FILENO, POLLIN, 0}, {}, {}};
    const size_t n = 1 + announcer.poll_fds(fds + 1, 2);
    poll(fds, static_cast<nfds_t>(n), announcer.wait_ms(now_ms()));
    if (fds[0].revents != 0) {
      const ssize_t got = read(STDIN_FILENO, phase, sizeof phase - 1);
      if (got <= 0) break;
      phase[got] = '\0';
      phase[strcspn(phase, "\n")] = '\0';
      announcer.set(what, now_ms());
    }
    announcer.step(now_ms());
  }
  announcer.goodbye();
  announcer.stop();
  return 0;
}
