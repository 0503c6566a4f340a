// DNS-SD responder (RFC 6762, RFC 6763) of one node on its own loopback address. Never blocks; the main loop polls its sockets
// and calls step(). It sends from, and joins the group on, the node's address alone, which must be in 127.0.0.0/8.
//
// It does not probe (RFC 6762 section 8.1), and so never renames itself after a conflict (section 9): a node must be seen at once.
// Names are unique beforehand instead: on one bench by a rule of the inventory, and across the benches of one machine by the bench
// id that instance and host carry. Records of the same name from elsewhere are ignored. A question with the QU bit is
// always answered by unicast, also when the last multicast is long ago (RFC 6762 section 5.4 would then like another one): with
// hundreds of nodes on one machine each multicast wakes every one of them.
#ifndef TN_ANNOUNCE_H
#define TN_ANNOUNCE_H

#include <poll.h>
#include <stddef.h>
#include <stdint.h>

#include "../../core/port.h"
#include "mdns_answer.h"

namespace tn {

constexpr size_t kUnicastAskers = 8;  // that wait at once; one more is answered without delay

class Announcer {
 public:
  // address: 127.a.b.c as text; http_port goes into the SRV record; bench: the id of the bench that the node is on, kept by the
  // caller, or null for none: then the announcement is that of a real board; seed: for the random delays. False: errno says why.
  bool start(const char *address, uint16_t http_port, const char *bench, uint32_t seed);
  // Texts are copied, and announced at once and again one second later: at the start, when one of them changed, and when the
  // network came back.
  void set(const Announcement &what, uint64_t now_ms);
  void goodbye();  // time to live 0, at once; nothing is answered after it until set()
  void stop();     // closes the sockets

  size_t poll_fds(struct pollfd *to, size_t room) const;  // 0..2 filled in, for POLLIN
  void step(uint64_t now_ms);                             // reads what came, sends what is due
  int wait_ms(uint64_t now_ms) const;                     // until step() has something to send; -1: nothing waits

 private:
  struct Due {
    bool waiting;
    uint64_t at_ms;
    uint32_t records;
    uint32_t address;  // of the asker, network order; to the group: of the asker whose known answers are still coming, else 0
  };
  int receive_fd_ = -1;
  int send_fd_ = -1;
  bool set_ = false;
  const char *bench_ = nullptr;
  MdnsNames names_ = {};
  Due announce_[2] = {};
  Due answer_ = {};
  Due askers_[kUnicastAskers] = {};
  uint64_t last_ms_[kMdnsRecords] = {};  // of each record's last multicast, 0: never
  uint32_t random_ = 1;

  bool open_sockets(uint32_t address);
  uint32_t delay_ms(uint32_t records, bool truncated);
  void read_from(int fd, uint64_t now_ms);
  void handle(const uint8_t *packet, size_t n, uint32_t address, uint16_t port, bool direct, uint64_t now_ms);
  void forget_known(uint32_t address, uint32_t known);
  void ask_by_multicast(const MdnsAsked &asked, uint32_t address, uint64_t now_ms);
  void ask_by_unicast(uint32_t records, uint32_t address, uint32_t delay_ms, uint64_t now_ms);
  void send_answer(uint64_t now_ms);
  void multicast(uint32_t records, MdnsKind kind, uint64_t now_ms);
  void send_to(const uint8_t *packet, size_t n, uint32_t address, uint16_t port);
};

}  // namespace tn

#endif
