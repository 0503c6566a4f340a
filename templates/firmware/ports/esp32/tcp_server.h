// TCP for the chip: a listening socket and the handles of tn::Port on lwIP, none of which ever waits.
#ifndef TN_TCP_SERVER_H
#define TN_TCP_SERVER_H

#include "../../core/limits.h"

#include <stdint.h>

namespace tn {

constexpr int kTcpHandles = static_cast<int>(kConnections) + 1;  // one more, only to say that the others are taken
constexpr uint16_t kHttpPort = 80;
// Closing waits for memory for its last packet, 20 s unless a socket has a time of its own for sending (lwIP 2.1 of esp-idf 4.4.7,
// api_msg.c:1083-1112): the loop would stand still until its watchdog ends it. With this time the connection is broken off instead,
// at the stack's next look, which comes every 0.5 s. Sending never waits (MSG_DONTWAIT).
constexpr uint32_t kCloseWithinMs = 100;

class TcpServer {
 public:
  bool start();  // once, after the TCP/IP stack

  // The port's calls; see core/port.h.
  int accept_one();
  int receive(int handle, uint8_t *to, size_t n);
  int send_some(int handle, const uint8_t *from, size_t n);
  void close_one(int handle);

 private:
  int listen_fd_ = -1;
  int fds_[kTcpHandles] = {};  // start() makes them -1
};

}  // namespace tn

#endif
