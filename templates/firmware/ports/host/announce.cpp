#include "announce.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

namespace tn {

namespace {

constexpr uint16_t kPort = 5353;
constexpr char kGroup[] = "224.0.0.251";
constexpr int kHops = 255;                  // RFC 6762 section 11
constexpr uint64_t kSecondAnnounceMs = 1000;  // section 8.3
constexpr uint64_t kSameRecordMs = 1000;      // section 6: one record is multicast once a second at most
constexpr uint32_t kSharedDelayMs = 20, kSharedSpreadMs = 100;      // section 6: 20 to 120 ms
constexpr uint32_t kTruncatedDelayMs = 400, kTruncatedSpreadMs = 100;  // section 7.2: 400 to 500 ms
constexpr int kPacketsPerStep = 64;           // a flood must not keep the node from its pumps
constexpr size_t kReadBytes = 9000;           // section 17

bool is_loopback(uint32_t network_order) { return ntohl(network_order) >> 24 == 127; }

uint32_t group() { return inet_addr(kGroup); }

struct sockaddr_in place(uint32_t address, uint16_t port) {
  struct sockaddr_in to;
  memset(&to, 0, sizeof to);
  to.sin_family = AF_INET;
  to.sin_addr.s_addr = address;
  to.sin_port = htons(port);
  return to;
}

bool set_option(int fd, int level, int option, int value) { return setsockopt(fd, level, option, &value, sizeof value) == 0; }

// Bound to port 5353 of `address`, beside any other program that is.
int open_socket(uint32_t address) {
  const int fd = socket(AF_INET, SOCK_DGRAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
  if (fd < 0) return -1;
  const struct sockaddr_in at = place(address, kPort);
  if (set_option(fd, SOL_SOCKET, SO_REUSEADDR, 1) && set_option(fd, SOL_SOCKET, SO_REUSEPORT, 1) &&
      bind(fd, reinterpret_cast<const struct sockaddr *>(&at), sizeof at) == 0)
    return fd;
  const int why = errno;
  close(fd);
  errno = why;
  return -1;
}

void print_text(char to[80], const char *key, const char *value) { snprintf(to, 80, "%s=%s", key, value); }

void earlier(uint64_t at_ms, bool waiting, uint64_t *earliest) {
  if (waiting && at_ms < *earliest) *earliest = at_ms;
}

}  // namespace

bool Announcer::start(const char *address, uint16_t http_port, const char *bench, uint32_t seed) {
  struct in_addr own;
  if (inet_pton(AF_INET, address, &own) != 1 || !is_loopback(own.s_addr)) {
    errno = EADDRNOTAVAIL;
    return false;
  }
  memcpy(names_.address, &own.s_addr, sizeof names_.address);
  names_.http_port = http_port;
  bench_ = bench;
  random_ = seed | 1u;
  if (open_sockets(own.s_addr)) return true;
  const int why = errno;
  stop();
  errno = why;
  return false;
}

bool Announcer::open_sockets(uint32_t address) {
  receive_fd_ = open_socket(group());
  if (receive_fd_ < 0) return false;
  send_fd_ = open_socket(address);
  if (send_fd_ < 0) return false;
  struct ip_mreqn join;
  memset(&join, 0, sizeof join);
  join.imr_multiaddr.s_addr = group();
  join.imr_address.s_addr = address;
  return set_option(receive_fd_, IPPROTO_IP, IP_MULTICAST_ALL, 0) &&
         setsockopt(receive_fd_, IPPROTO_IP, IP_ADD_MEMBERSHIP, &join, sizeof join) == 0 &&
         setsockopt(send_fd_, IPPROTO_IP, IP_MULTICAST_IF, &join.imr_address, sizeof join.imr_address) == 0 &&
         set_option(send_fd_, IPPROTO_IP, IP_MULTICAST_TTL, kHops) && set_option(send_fd_, IPPROTO_IP, IP_TTL, kHops);
}

void Announcer::stop() {
  if (receive_fd_ >= 0) close(receive_fd_);
  if (send_fd_ >= 0) close(send_fd_);
  receive_fd_ = send_fd_ = -1;
  set_ = false;
}

void Announcer::set(const Announcement &what, uint64_t now_ms) {
  MdnsNames next = {};
  const bool on_bench = bench_ != nullptr;
  snprintf(next.label, sizeof next.label, "%s%s%s", what.node, on_bench ? "-bench-" : "", on_bench ? bench_ : "");
  print_text(next.text[0], "id", what.node);
  print_text(next.text[1], "release", what.release);
  print_text(next.text[2], "img", what.image16);
  print_text(next.text[3], "board", what.board);
  print_text(next.text[4], "phase", what.phase);
  if (on_bench) print_text(next.text[5], "bench", bench_);
  memcpy(next.address, names_.address, sizeof next.address);
  next.http_port = names_.http_port;
  names_ = next;
  set_ = true;
  announce_[0] = Due{true, now_ms, kMdnsOwn, 0};
  announce_[1] = Due{true, now_ms + kSecondAnnounceMs, kMdnsOwn, 0};
}

void Announcer::goodbye() {
  if (!set_) return;
  multicast(kMdnsOwn, MdnsKind::kGoodbye, 0);
  set_ = false;
  announce_[0].waiting = announce_[1].waiting = answer_.waiting = false;
  for (Due &asker : askers_) asker.waiting = false;
}

size_t Announcer::poll_fds(struct pollfd *to, size_t room) const {
  size_t n = 0;
  const int fds[] = {receive_fd_, send_fd_};
  for (const int fd : fds)
    if (fd >= 0 && n < room) to[n++] = {fd, POLLIN, 0};
  return n;
}

int Announcer::wait_ms(uint64_t now_ms) const {
  uint64_t earliest = UINT64_MAX;
  earlier(answer_.at_ms, answer_.waiting, &earliest);
  for (const Due &due : announce_) earlier(due.at_ms, due.waiting, &earliest);
  for (const Due &asker : askers_) earlier(asker.at_ms, asker.waiting, &earliest);
  if (earliest == UINT64_MAX) return -1;
  return earliest <= now_ms ? 0 : static_cast<int>(earliest - now_ms);
}

void Announcer::step(uint64_t now_ms) {
  if (send_fd_ < 0) return;
  read_from(receive_fd_, now_ms);
  read_from(send_fd_, now_ms);
  for (Due &due : announce_) {
    if (!due.waiting || due.at_ms > now_ms) continue;
    due.waiting = false;
    multicast(due.records, MdnsKind::kAnswer, now_ms);
  }
  for (Due &asker : askers_) {
    if (!asker.waiting || asker.at_ms > now_ms) continue;
    asker.waiting = false;
    uint8_t packet[kMdnsPacketBytes];
    const size_t n = mdns_write(names_, asker.records, MdnsKind::kAnswer, nullptr, 0, packet, sizeof packet);
    send_to(packet, n, asker.address, kPort);
  }
  if (answer_.waiting && answer_.at_ms <= now_ms) send_answer(now_ms);
}

void Announcer::read_from(int fd, uint64_t now_ms) {
  uint8_t packet[kReadBytes];
  for (int i = 0; i < kPacketsPerStep; ++i) {
    struct sockaddr_in from;
    socklen_t from_n = sizeof from;
    const ssize_t n = recvfrom(fd, packet, sizeof packet, 0, reinterpret_cast<struct sockaddr *>(&from), &from_n);
    if (n < 0) return;
    if (!set_ || !is_loopback(from.sin_addr.s_addr)) continue;
    handle(packet, static_cast<size_t>(n), from.sin_addr.s_addr, ntohs(from.sin_port), fd == send_fd_, now_ms);
  }
}

void Announcer::handle(const uint8_t *packet, size_t n, uint32_t address, uint16_t port, bool direct, uint64_t now_ms) {
  MdnsAsked asked;
  if (!mdns_read(packet, n, names_, &asked)) return;
  if (asked.continues) {
    forget_known(address, asked.known);
  } else if (port != kPort) {
    const uint32_t records = asked.multicast | asked.unicast;
    if (records == 0 || asked.question_bytes == 0) return;
    uint8_t answer[kMdnsPacketBytes];
    send_to(answer, mdns_write(names_, records, MdnsKind::kLegacy, packet, asked.question_bytes, answer, sizeof answer), address,
            port);
  } else if (direct) {
    ask_by_unicast(asked.multicast | asked.unicast, address, 0, now_ms);  // asked of this node alone: no need to spread
  } else {
    ask_by_unicast(asked.unicast, address, delay_ms(asked.unicast, asked.truncated), now_ms);
    ask_by_multicast(asked, address, now_ms);
  }
}

// Records that are this node's alone are answered at once, shared ones after a random time, so that nodes do not answer in
// chorus; when known answers are still to come, after they had the time to.
uint32_t Announcer::delay_ms(uint32_t records, bool truncated) {
  random_ ^= random_ << 13;
  random_ ^= random_ >> 17;
  random_ ^= random_ << 5;
  if (truncated) return kTruncatedDelayMs + random_ % kTruncatedSpreadMs;
  return (records & kMdnsShared) != 0 ? kSharedDelayMs + random_ % kSharedSpreadMs : 0;
}

void Announcer::forget_known(uint32_t address, uint32_t known) {
  if (answer_.waiting && answer_.address == address) answer_.records &= ~known;
  if (answer_.records == 0) answer_.waiting = false;
  for (Due &asker : askers_) {
    if (!asker.waiting || asker.address != address) continue;
    asker.records &= ~known;
    asker.waiting = asker.records != 0;
  }
}

void Announcer::ask_by_multicast(const MdnsAsked &asked, uint32_t address, uint64_t now_ms) {
  if (asked.multicast == 0) return;
  const uint64_t at_ms = now_ms + delay_ms(asked.multicast, asked.truncated);
  if (!answer_.waiting) {
    answer_ = Due{true, at_ms, asked.multicast, asked.truncated ? address : 0};
    return;
  }
  answer_.records |= asked.multicast;
  if (at_ms < answer_.at_ms) answer_.at_ms = at_ms;
  answer_.address = 0;  // two askers wait: neither may take records away from the other
}

void Announcer::ask_by_unicast(uint32_t records, uint32_t address, uint32_t delay_ms, uint64_t now_ms) {
  if (records == 0) return;
  Due *free = nullptr;
  for (Due &asker : askers_) {
    if (asker.waiting && asker.address == address) {
      asker.records |= records;
      return;
    }
    if (!asker.waiting) free = &asker;
  }
  if (free != nullptr) {
    *free = Due{true, now_ms + delay_ms, records, address};
    return;
  }
  uint8_t packet[kMdnsPacketBytes];
  send_to(packet, mdns_write(names_, records, MdnsKind::kAnswer, nullptr, 0, packet, sizeof packet), address, kPort);
}

// Sends those records whose last multicast is a second ago; the rest goes on waiting.
void Announcer::send_answer(uint64_t now_ms) {
  uint32_t ready = 0;
  uint64_t next_ms = UINT64_MAX;
  for (int i = 0; i < kMdnsRecords; ++i) {
    if ((answer_.records & (1u << i)) == 0) continue;
    if (last_ms_[i] == 0 || now_ms - last_ms_[i] >= kSameRecordMs) ready |= 1u << i;
    else if (last_ms_[i] + kSameRecordMs < next_ms) next_ms = last_ms_[i] + kSameRecordMs;
  }
  answer_.records &= ~ready;
  answer_.waiting = answer_.records != 0;
  answer_.at_ms = next_ms;
  answer_.address = 0;
  if (ready != 0) multicast(ready, MdnsKind::kAnswer, now_ms);
}

void Announcer::multicast(uint32_t records, MdnsKind kind, uint64_t now_ms) {
  uint8_t packet[kMdnsPacketBytes];
  send_to(packet, mdns_write(names_, records, kind, nullptr, 0, packet, sizeof packet), group(), kPort);
  for (int i = 0; i < kMdnsRecords; ++i)
    if ((records & (1u << i)) != 0) last_ms_[i] = now_ms;
}

// What the kernel does not take now is lost, as on any network: askers ask again.
void Announcer::send_to(const uint8_t *packet, size_t n, uint32_t address, uint16_t port) {
  if (n == 0) return;
  const struct sockaddr_in to = place(address, port);
  sendto(send_fd_, packet, n, 0, reinterpret_cast<const struct sockaddr *>(&to), sizeof to);
}

}  // namespace tn
