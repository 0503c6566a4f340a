// The announcement through the IDF's mDNS responder, which runs in a task of its own and takes its memory from the heap.
#ifndef TN_ANNOUNCE_H
#define TN_ANNOUNCE_H

#include "../../core/port.h"

namespace tn {

class Announcer {
 public:
  void set(const Announcement &what);  // the first time the service is added, then its TXT record replaced
  void goodbye();                      // time to live 0; waits until it is likely to be out

 private:
  bool added_ = false;
};

}  // namespace tn

#endif
