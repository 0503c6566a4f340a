// The networks in the air, for a virtual node that is to have a radio: a file with one `NAME<TAB>PASSPHRASE` per line, which is read
// again when it changes. A file that is not there is an empty one.
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

 private:
  const char *path_ = nullptr;
  char wanted_[160] = "";  // the line that there must be
  bool found_ = false;
  bool looked_ = false;
  uint64_t looked_ms_ = 0;
  struct stat seen_ = {};

  bool changed();
  bool look() const;
};

}  // namespace tn

#endif
