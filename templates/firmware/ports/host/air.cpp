#include "air.h"

#include <stdio.h>
#include <string.h>

namespace tn {

namespace {

constexpr uint64_t kLookAgainMs = 20;
constexpr size_t kLineBytes = 256;

bool same_file(const struct stat &a, const struct stat &b) {
  return a.st_ino == b.st_ino && a.st_size == b.st_size && a.st_mtim.tv_sec == b.st_mtim.tv_sec &&
         a.st_mtim.tv_nsec == b.st_mtim.tv_nsec;
}

}  // namespace

void Air::start(const char *path) { path_ = path; }

void Air::tune(const char *network, const char *passphrase) {
  wanted_[0] = '\0';
  if (network != nullptr && network[0] != '\0') snprintf(wanted_, sizeof wanted_, "%s\t%s", network, passphrase);
  looked_ = false;
}

bool Air::joined(uint64_t now_ms) {
  if (looked_ && now_ms - looked_ms_ < kLookAgainMs) return found_;
  const bool again = changed() || !looked_;
  looked_ = true;
  looked_ms_ = now_ms;
  if (again) found_ = wanted_[0] != '\0' && look();
  return found_;
}

bool Air::changed() {
  struct stat now = {};
  if (stat(path_, &now) != 0) now = {};
  if (same_file(now, seen_)) return false;
  seen_ = now;
  return true;
}

bool Air::look() const {
  FILE *const file = fopen(path_, "r");
  if (file == nullptr) return false;
  char line[kLineBytes];
  bool found = false;
  while (!found && fgets(line, sizeof line, file) != nullptr) {
    line[strcspn(line, "\r\n")] = '\0';
    found = strcmp(line, wanted_) == 0;
  }
  fclose(file);
  return found;
}

}  // namespace tn
