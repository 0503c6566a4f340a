#include "tcp_server.h"

#include <errno.h>
#include <string.h>

#include "idf.h"

namespace tn {

namespace {

constexpr int kBacklog = 4;

bool not_now() { return errno == EAGAIN || errno == EWOULDBLOCK || errno == EINTR; }

int bytes_or(long done, int nothing) { return done > 0 ? static_cast<int>(done) : done < 0 && not_now() ? 0 : nothing; }

}  // namespace

bool TcpServer::start() {
  for (int &fd : fds_) fd = -1;
  const int fd = idf::lwip_socket(AF_INET, SOCK_STREAM, 0);
  if (fd < 0) return false;
  const int on = 1;
  idf::sockaddr_in at;
  memset(&at, 0, sizeof at);
  at.sin_family = AF_INET;
  at.sin_port = idf::lwip_htons(kHttpPort);
  at.sin_addr.s_addr = INADDR_ANY;
  idf::lwip_setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
  const bool listens = idf::lwip_bind(fd, reinterpret_cast<const idf::sockaddr *>(&at), sizeof at) == 0 &&
                       idf::lwip_listen(fd, kBacklog) == 0 && idf::lwip_fcntl(fd, F_SETFL, O_NONBLOCK) == 0;
  if (listens)
    listen_fd_ = fd;
  else
    idf::lwip_close(fd);
  return listens;
}

int TcpServer::accept_one() {
  if (listen_fd_ < 0) return -1;
  for (int handle = 0; handle < kTcpHandles; ++handle) {
    if (fds_[handle] >= 0) continue;
    const int fd = idf::lwip_accept(listen_fd_, nullptr, nullptr);
    if (fd < 0) return -1;
    const int on = 1;
    idf::lwip_setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    const idf::timeval within = {0, static_cast<decltype(idf::timeval::tv_usec)>(kCloseWithinMs * 1000)};
    idf::lwip_setsockopt(fd, SOL_SOCKET, SO_SNDTIMEO, &within, sizeof within);
    fds_[handle] = fd;
    return handle;
  }
  return -1;
}

int TcpServer::receive(int handle, uint8_t *to, size_t n) {
  return bytes_or(idf::lwip_recv(fds_[handle], to, n, MSG_DONTWAIT), -1);
}

int TcpServer::send_some(int handle, const uint8_t *from, size_t n) {
  return bytes_or(idf::lwip_send(fds_[handle], from, n, MSG_DONTWAIT), -1);
}

void TcpServer::close_one(int handle) {
  if (fds_[handle] >= 0) idf::lwip_close(fds_[handle]);
  fds_[handle] = -1;
}

}  // namespace tn
