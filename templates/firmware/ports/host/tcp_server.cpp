#include "tcp_server.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/socket.h>
#include <unistd.h>

namespace tn {

namespace {

constexpr int kBacklog = 16;
constexpr uint64_t kBurstMs = 100;     // the allowance never grows beyond what this time brings
// On a limited link, new connections get about what a board's TCP has, else the kernel's buffers would hide how slow it is.
// Segments of loopback are larger than such a window, which would stall; hence theirs is set too.
constexpr int kSlowLinkBuffer = 8192;
constexpr int kFastLinkBuffer = 262144;
constexpr int kSlowLinkSegment = 1460;

}  // namespace

bool TcpServer::start(const char *address, uint16_t port) {
  struct sockaddr_in at = {};
  at.sin_family = AF_INET;
  at.sin_port = htons(port);
  if (inet_pton(AF_INET, address, &at.sin_addr) != 1) {
    errno = EINVAL;
    return false;
  }
  listen_fd_ = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
  if (listen_fd_ < 0) return false;
  const int on = 1;
  setsockopt(listen_fd_, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
  if (bind(listen_fd_, reinterpret_cast<const struct sockaddr *>(&at), sizeof at) != 0) return false;
  return listen(listen_fd_, kBacklog) == 0;
}

int TcpServer::accept_one() {
  for (int handle = 0; handle < kTcpHandles; ++handle) {
    if (!knocking_) return -1;
    if (sockets_[handle].fd >= 0) continue;
    const int fd = accept4(listen_fd_, nullptr, nullptr, SOCK_NONBLOCK | SOCK_CLOEXEC);
    knocking_ = fd >= 0;
    if (fd < 0) return -1;
    const int on = 1;
    setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    sockets_[handle].fd = fd;
    sockets_[handle].wants_read = sockets_[handle].wants_write = false;
    return handle;
  }
  return -1;
}

int TcpServer::receive(int handle, uint8_t *to, size_t n) {
  Socket &s = sockets_[handle];
  const size_t room = allowed(n);
  if (room == 0) return 0;
  const ssize_t got = recv(s.fd, to, room, 0);
  if (got > 0) {
    spend(static_cast<size_t>(got));
    return static_cast<int>(got);
  }
  if (got == 0 || (errno != EAGAIN && errno != EWOULDBLOCK && errno != EINTR)) return -1;
  s.wants_read = true;
  return 0;
}

int TcpServer::send_some(int handle, const uint8_t *from, size_t n) {
  Socket &s = sockets_[handle];
  const size_t room = allowed(n);
  if (room == 0) return 0;
  const ssize_t done = send(s.fd, from, room, MSG_NOSIGNAL);
  if (done > 0) {
    spend(static_cast<size_t>(done));
    return static_cast<int>(done);
  }
  if (done < 0 && errno != EAGAIN && errno != EWOULDBLOCK && errno != EINTR) return -1;
  s.wants_write = true;
  return 0;
}

void TcpServer::close_one(int handle) {
  Socket &s = sockets_[handle];
  if (s.fd >= 0) close(s.fd);
  s.fd = -1;
  s.wants_read = s.wants_write = false;
}

void TcpServer::begin_turn(uint64_t now_ms, uint32_t link_bytes_per_s) {
  const uint64_t passed_ms = filled_ms_ == 0 || now_ms - filled_ms_ > kBurstMs ? kBurstMs : now_ms - filled_ms_;
  filled_ms_ = now_ms;
  if ((limit_ == 0) != (link_bytes_per_s == 0)) shape_new_connections(link_bytes_per_s != 0);
  limit_ = link_bytes_per_s;
  held_ = false;
  const uint64_t most = kBurstMs * limit_ < 1000 ? 1000 : kBurstMs * limit_;  // one byte at least can be saved up
  allowance_milli_ += passed_ms * limit_;  // ms times bytes a second: thousandths of a byte
  if (allowance_milli_ > most) allowance_milli_ = most;
  for (Socket &s : sockets_) s.wants_read = s.wants_write = false;
}

void TcpServer::shape_new_connections(bool slow) {
  const int buffer = slow ? kSlowLinkBuffer : kFastLinkBuffer;
  const int segment = slow ? kSlowLinkSegment : 0;
  setsockopt(listen_fd_, SOL_SOCKET, SO_RCVBUF, &buffer, sizeof buffer);
  setsockopt(listen_fd_, SOL_SOCKET, SO_SNDBUF, &buffer, sizeof buffer);
  setsockopt(listen_fd_, IPPROTO_TCP, TCP_MAXSEG, &segment, sizeof segment);
}

size_t TcpServer::poll_fds(struct pollfd *to, size_t room, bool network_up) const {
  size_t n = 0;
  bool handle_free = false;
  for (const Socket &s : sockets_) {
    handle_free = handle_free || s.fd < 0;
    if (s.fd < 0 || (!s.wants_read && !s.wants_write) || n == room) continue;
    to[n++] = {s.fd, static_cast<short>((s.wants_read ? POLLIN : 0) | (s.wants_write ? POLLOUT : 0)), 0};
  }
  if (handle_free && network_up && n < room) to[n++] = {listen_fd_, POLLIN, 0};
  return n;
}

void TcpServer::note_polled(const struct pollfd *fds, size_t n) {
  for (size_t i = 0; i < n; ++i) knocking_ = knocking_ || (fds[i].fd == listen_fd_ && fds[i].revents != 0);
}

bool TcpServer::held_back() const { return held_; }

size_t TcpServer::allowed(size_t n) {
  if (limit_ == 0) return n;
  const uint64_t bytes = allowance_milli_ / 1000u;
  if (bytes == 0) held_ = true;
  return n < bytes ? n : static_cast<size_t>(bytes);
}

void TcpServer::spend(size_t n) {
  if (limit_ == 0) return;
  const uint64_t milli = static_cast<uint64_t>(n) * 1000u;
  allowance_milli_ = milli < allowance_milli_ ? allowance_milli_ - milli : 0;
}

}  // namespace tn
