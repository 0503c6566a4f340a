// TCP for the host port: a listening socket, five connections, and a link of limited speed. Nothing here blocks.
#ifndef TN_TCP_SERVER_H
#define TN_TCP_SERVER_H

#include <poll.h>
#include <stddef.h>
#include <stdint.h>

namespace tn {

constexpr int kTcpHandles = 5;

class TcpServer {
 public:
  bool start(const char *address, uint16_t port);  // false: errno says why

  // The port's calls; see core/port.h.
  int accept_one();
  int receive(int handle, uint8_t *to, size_t n);
  int send_some(int handle, const uint8_t *from, size_t n);
  void close_one(int handle);

  // Once per loop, before the node's step: refills the link's allowance.
  void begin_turn(uint64_t now_ms, uint32_t link_bytes_per_s);
  // What to wait for: sockets that the node asked and got "not now" from. Fills in at most `room`.
  size_t poll_fds(struct pollfd *to, size_t room, bool network_up) const;
  void note_polled(const struct pollfd *fds, size_t n);  // the same list after poll()
  bool held_back() const;  // the link's allowance is used up and somebody waits for it

 private:
  struct Socket {
    int fd = -1;
    bool wants_read = false;
    bool wants_write = false;
  };
  int listen_fd_ = -1;
  bool knocking_ = true;  // somebody may wait to be accepted: spares an idle node a system call in each turn
  Socket sockets_[kTcpHandles];
  uint64_t filled_ms_ = 0;
  uint32_t limit_ = 0;  // bytes a second, 0: none
  uint64_t allowance_milli_ = 0;  // thousandths of a byte
  bool held_ = false;

  void shape_new_connections(bool slow);
  size_t allowed(size_t n);
  void spend(size_t n);
};

}  // namespace tn

#endif
