#include "tcp_server.h"

namespace tn {

void TcpServer::start() { core::serve(server_); }

int TcpServer::accept_one() {
  for (int handle = 0; handle < kTcpHandles; ++handle) {
    if (taken_[handle]) continue;
    if (!core::somebody_waits(server_)) return -1;
    clients_[handle] = core::take(server_);
    core::bound_waiting(clients_[handle]);
    taken_[handle] = true;
    return handle;
  }
  return -1;
}

int TcpServer::receive(int handle, uint8_t *to, size_t n) {
  core::Client &client = clients_[handle];
  const int there = core::bytes_waiting(client);
  if (there <= 0) return core::open(client) ? 0 : -1;
  return core::read(client, to, static_cast<size_t>(there) < n ? static_cast<size_t>(there) : n);
}

int TcpServer::send_some(int handle, const uint8_t *from, size_t n) {
  core::Client &client = clients_[handle];
  if (!core::open(client)) return -1;
  const int room = core::room_to_write(client);
  if (room <= 0) return 0;
  return static_cast<int>(core::write(client, from, static_cast<size_t>(room) < n ? static_cast<size_t>(room) : n));
}

void TcpServer::close_one(int handle) {
  core::let_go(clients_[handle]);
  taken_[handle] = false;
}

}  // namespace tn
