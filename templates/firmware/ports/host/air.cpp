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

bool Air::access_point(uint64_t now_ms, uint8_t bssid[6], uint8_t *channel) {
  if (!joined(now_ms) || !has_access_point_) return false;
  memcpy(bssid, bssid_, sizeof bssid_);
  *channel = channel_;
  return true;
}

// Is it the line of the wanted network?
bool Air::take(const char *line) {
  const size_t n = strlen(wanted_);
  if (strncmp(line, wanted_, n) != 0 || (line[n] != '\0' && line[n] != '\t')) return false;
  unsigned at[6], channel = 0;
  has_access_point_ = sscanf(line + n, "\t%2x:%2x:%2x:%2x:%2x:%2x\t%3u", &at[0], &at[1], &at[2], &at[3], &at[4], &at[5], &channel) == 7;
  for (size_t i = 0; has_access_point_ && i < sizeof bssid_; ++i) bssid_[i] = static_cast<uint8_t>(at[i]);
  channel_ = static_cast<uint8_t>(channel);
  return true;
}

bool Air::look() {
  FILE *const file = fopen(path_, "r");
  if (file == nullptr) return false;
  char line[kLineBytes];
  bool found = false;
  while (!found && fgets(line, sizeof line, file) != nullptr) {
    line[strcspn(line, "\r\n")] = '\0';
    found = take(line);
  }
  fclose(file);
  return found;
}

}  // namespace tn
