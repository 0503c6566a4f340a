// DNS-SD responder (RFC 6762, RFC 6763) of one node on its own loopback address. Never blocks; the main loop polls its sockets
// and calls step(). It sends from, and joins the group on, the node's address alone, which must be in 127.0.0.0/8.
//
// It does not probe: node names are unique by a rule of the inventory, and a node must come up at once. Other hosts' records of
// the same name are seen and ignored; the finder tells two nodes with one name apart by their signed state.
#ifndef TN_ANNOUNCE_H
#define TN_ANNOUNCE_H

#include <poll.h>
#include <stddef.h>
#include <stdint.h>

#include "../../core/port.h"
#include "mdns_answer.h"

namespace tn {

class Announcer {
 public:
  // address: 127.a.b.c as text; http_port goes into the SRV record; seed: for the random delays. False: errno says why.
  bool start(const char *address, uint16_t http_port, uint32_t seed);
  void set(const Announcement &what, uint64_t now_ms);  // texts are copied; announces twice, one second apart
  void goodbye();                                       // time to live 0, at once
  void stop();

  size_t poll_fds(struct pollfd *to, size_t room) const;  // 0..2 filled in, for POLLIN
  void step(uint64_t now_ms);                             // reads what came, sends what is due
  int wait_ms(uint64_t now_ms) const;                     // until step() has something to send; -1: nothing waits

 private:
  struct Due {  // one multicast answer that waits for its random delay
    bool waiting;
    uint64_t at_ms;
    uint32_t records;  // RecordSet bits
  };
  int receive_fd_ = -1;
  int send_fd_ = -1;
  bool set_ = false;
  MdnsNames names_;
  Due answer_;
  Due announce_[2];
  uint32_t random_ = 1;

  void take(int fd, uint64_t now_ms);
  void handle(const uint8_t *packet, size_t n, uint32_t from_address, uint16_t from_port, uint64_t now_ms);
  void send_records(uint32_t records, bool goodbye);
};

}  // namespace tn

#endif
