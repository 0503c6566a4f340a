// The credentials of a node: its key, and the network that it joins; new network credentials stand beside the old ones while they
// are on trial (network_trial.h). Written at the first flash over USB, never part of an image, and kept as two_sectors.h says.
// Network name and passphrase are empty on the bench, which has no radio.
#ifndef TN_CREDENTIALS_H
#define TN_CREDENTIALS_H

#include "partition.h"
#include "port.h"
#include "refusal.h"
#include "two_sectors.h"

namespace tn {

enum class NetworkPhase : uint8_t { kKept = 0, kOnTrial = 1, kPutBack = 2 };
const char *network_phase_text(NetworkPhase phase);  // "kept", "on-trial", "put-back"

enum class Which : uint8_t { kKept = 0, kNew = 1 };  // of the two networks

constexpr uint8_t kNetworkTrialStarts = 4;  // starts in one trial; at this one the new credentials are put back

constexpr size_t kNetworkNameBytes = 33;  // with its NUL
constexpr size_t kPassphraseBytes = 64;   // with its NUL

struct Network {
  char name[36];  // kNetworkNameBytes count
  char passphrase[kPassphraseBytes];
};

struct CredentialsRecord {
  uint32_t magic;
  uint16_t version;
  uint16_t length;
  uint64_t number;
  uint8_t node_key[32];
  Network networks[2];  // by Which; the new one is empty but on trial
  NetworkPhase phase;
  uint8_t starts;    // in this trial
  uint16_t trial_s;
  uint32_t crc32;
};
static_assert(sizeof(CredentialsRecord) == 256, "credentials layout; one page of NOR flash");
static_assert(offsetof(CredentialsRecord, number) == offsetof(RecordHead, number), "it begins as two_sectors.h wants it");

class Credentials {
 public:
  // At each start: reads the record, counts the start of a trial and puts the new network back at the last one allowed. False:
  // there are none, or none that is whole.
  bool begin(const Flash *flash, const Partition *partition);

  const uint8_t *node_key() const { return node_key_; }
  NetworkPhase phase() const { return phase_; }
  uint16_t trial_s() const { return trial_s_; }
  bool has_name(Which which) const { return named_[static_cast<size_t>(which)]; }
  // Secrets stay in flash but for the moment that they are needed. False: cannot be read.
  bool network(Which which, Network *to) const;

  // Each is kOk or kFlashFailed; then all is as before, or as after. Keep and put-back write both sectors, so that what is given up
  // stays in neither.
  Code give(const Network &fresh, uint16_t trial_s);  // begins a trial; one that runs gives way to it
  Code keep();                                        // also kNotOnTrial
  Code put_back();                                    // also kNotOnTrial

 private:
  const Flash *flash_;
  const Partition *partition_;
  uint8_t node_key_[32];
  NetworkPhase phase_;
  Newest newest_;
  uint16_t trial_s_;
  bool named_[2];

  bool read(CredentialsRecord *to);
  bool write(CredentialsRecord *record);
  void note(const CredentialsRecord &record);
  Code end_trial(Which stays);
  bool other_sector_is_clean(const CredentialsRecord &record) const;
};

// Both sectors anew, as the first flash over USB leaves them.
bool first_credentials(const Flash &flash, const Partition &partition, const uint8_t node_key[32], const Network &network);

}  // namespace tn

#endif
