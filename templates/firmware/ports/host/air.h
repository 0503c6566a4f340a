// The networks in the air, for a virtual node that is to have a radio: a file with one `NAME<TAB>PASSPHRASE` per line, which is read
// again when it changes. `<TAB>BSSID<TAB>CHANNEL` may follow: the access point that a node joins there. A file that is not there is an empty one.
#ifndef TN_AIR_H
#define TN_AIR_H

#include <stdint.h>
#include <sys/stat.h>

namespace tn {

class Air {
 public:
  void start(const char *path);
  void tune(const char *network, const char *passphrase);  // what the radio looks for; null: it is off
  bool joined(uint64_t now_ms);
  bool access_point(uint64_t now_ms, uint8_t bssid[6], uint8_t *channel);  // false: not joined, or the line names none

 private:
  const char *path_ = nullptr;
  char wanted_[160] = "";  // the line that there must be
  bool found_ = false;
  bool has_access_point_ = false;
  uint8_t bssid_[6] = {};
  uint8_t channel_ = 0;
  bool looked_ = false;
  uint64_t looked_ms_ = 0;
  struct stat seen_ = {};

  bool changed();
  bool look();
  bool take(const char *line);
};

}  // namespace tn

#endif
