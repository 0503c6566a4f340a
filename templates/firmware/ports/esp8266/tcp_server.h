// TCP for the port: the core's server and clients behind the handles 0..kConnections. Nothing here waits for the network.
#ifndef TN_ESP8266_TCP_SERVER_H
#define TN_ESP8266_TCP_SERVER_H

#include "../../core/limits.h"
#include "core_names.h"

namespace tn {

constexpr uint16_t kHttpPort = 80;
constexpr int kTcpHandles = static_cast<int>(kConnections) + 1;

class TcpServer {
 public:
  void start();

  // The port's calls; see core/port.h.
  int accept_one();
  int receive(int handle, uint8_t *to, size_t n);
  int send_some(int handle, const uint8_t *from, size_t n);
  void close_one(int handle);

 private:
  core::Server server_{kHttpPort};
  core::Client clients_[kTcpHandles];
  bool taken_[kTcpHandles] = {};
};

}  // namespace tn

#endif
