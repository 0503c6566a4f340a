// The node's announcement (docs/node-interface.md section 1) by the core's responder.
#ifndef TN_ESP8266_ANNOUNCER_H
#define TN_ESP8266_ANNOUNCER_H

#include "../../core/port.h"
#include "core_names.h"

namespace tn {

class Announcer {
 public:
  void set(const Announcement &what);  // first time, changed, or the network is back
  void goodbye();
  void step();  // in each turn of the loop

 private:
  core::Service service_ = nullptr;

  void put(const char *key, const char *value);
};

}  // namespace tn

#endif
