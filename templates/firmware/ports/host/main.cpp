// The node program on the bench: the real core over the host port. The boot loader starts it; it ends with kRestartStatus when the
// node restarts itself, and by a signal when it crashes.
#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "../../core/node.h"
#include "../../core/node_block_check.h"
#include "defect.h"
#include "host_port.h"

namespace {

constexpr int kUsageStatus = 64;
constexpr int kStartStatus = 71;
constexpr int kHeldBackWaitMs = 5;  // a slow link is topped up this often
constexpr size_t kMostFds = 16;

tn::NodeBlock block;  // a copy that the core may read as it likes
tn::HostPort host;
tn::Node node;

void copy_block() {
  const volatile uint8_t *from = reinterpret_cast<const volatile uint8_t *>(&tn_node_block);
  uint8_t *to = reinterpret_cast<uint8_t *>(&block);
  for (size_t i = 0; i < sizeof block; ++i) to[i] = from[i];
}

// How long a turn may wait: until the next sample is due, but no more often than four times within the debounce, for hundreds of
// nodes share one machine; between 5 and 100 ms, and at least 20 ms where the water does not run very fast.
int turn_ms() {
  const double samples_apart_ms = block.sample_period_ms > block.debounce_ms / 4 ? block.sample_period_ms : block.debounce_ms / 4;
  const double ms = samples_apart_ms / host.arguments.speed;
  const double least_ms = host.arguments.speed <= 20 ? 20 : 5;
  return static_cast<int>(ms < least_ms ? least_ms : ms > 100 ? 100 : ms);
}

// Waits, then lets the announcer work if there is something for it.
void wait_for_work(int most_ms) {
  struct pollfd fds[kMostFds];
  const bool up = tn::host_network_up(&host);
  const size_t tcp_n = host.server.poll_fds(fds, kMostFds, up);
  const size_t n = tcp_n + (up ? host.announcer.poll_fds(fds + tcp_n, kMostFds - tcp_n) : 0);
  int wait_ms = host.server.held_back() ? kHeldBackWaitMs : most_ms;
  const int announce_ms = up ? host.announcer.wait_ms(tn::host_now_ms()) : -1;
  if (announce_ms >= 0 && announce_ms < wait_ms) wait_ms = announce_ms;
  poll(fds, static_cast<nfds_t>(n), wait_ms);
  host.server.note_polled(fds, tcp_n);
  bool announcer_due = up && host.announcer.wait_ms(tn::host_now_ms()) == 0;
  for (size_t i = tcp_n; i < n; ++i) announcer_due = announcer_due || fds[i].revents != 0;
  if (announcer_due) host.announcer.step(tn::host_now_ms());
}

void run() {
  const int most_ms = turn_ms();
  for (;;) {
    host.server.begin_turn(tn::host_now_ms(), host.pins->link_bytes_per_s);
    const bool more = node.step();
    if (tn::kDefect == tn::Defect::kHangAfterMinute && tn::host_process_ms(host) >= tn::kHangAtMs) {
      for (;;) pause();
    }
    if (!more) wait_for_work(most_ms);
  }
}

}  // namespace

int main(int count, char **arguments) {
  signal(SIGPIPE, SIG_IGN);
  const char *wrong = nullptr;
  if (!tn::read_host_arguments(count, arguments, &host.arguments, &wrong)) {
    fprintf(stderr, "node: argument missing or not understood: %s\n", wrong);
    return kUsageStatus;
  }
  copy_block();
  host.block = &block;
  if (tn::kDefect == tn::Defect::kCrashAtBoot) abort();
  if (!tn::start_host_port(&host, &wrong)) {
    fprintf(stderr, "node: %s: %s\n", wrong, strerror(errno));
    return kStartStatus;
  }
  const bool copies = block.layout == static_cast<uint8_t>(tn::Layout::kCopyInPlace);
  const tn::Partition *partition = copies ? &tn::kHostCopyInPlace : &tn::kHostTwoSlot;
  if (!node.begin(&host.port, &block, partition, host.arguments.area)) {
    fprintf(stderr, "node: started with a fault; node block: %s\n", tn::block_fault_text(tn::check_node_block(block)));
  }
  run();
}
