#include "credentials.h"

#include <string.h>

namespace tn {

namespace {

constexpr uint32_t kMagic = 0x52434B54u;  // "TKCR" in memory order
constexpr uint16_t kVersion = 2;

TwoSectors sectors_of(const Partition &partition) {
  return TwoSectors{partition.credentials, kMagic, kVersion, static_cast<uint16_t>(sizeof(CredentialsRecord))};
}

bool ended(const Network &network) {
  return memchr(network.name, 0, kNetworkNameBytes) != nullptr && memchr(network.passphrase, 0, kPassphraseBytes) != nullptr;
}

bool sensible(const CredentialsRecord &record) {
  return ended(record.networks[0]) && ended(record.networks[1]) && record.phase <= NetworkPhase::kPutBack;
}

bool read_record(const Flash &flash, const Partition &partition, CredentialsRecord *to, Newest *newest) {
  return read_newest(flash, sectors_of(partition), to, newest) && sensible(*to);
}

}  // namespace

const char *network_phase_text(NetworkPhase phase) {
  return phase == NetworkPhase::kKept ? "kept" : phase == NetworkPhase::kOnTrial ? "on-trial" : "put-back";
}

bool Credentials::begin(const Flash *flash, const Partition *partition) {
  flash_ = flash;
  partition_ = partition;
  newest_ = kNoneYet;
  CredentialsRecord record;
  if (!read_record(*flash, *partition, &record, &newest_)) {
    phase_ = NetworkPhase::kKept;
    trial_s_ = 0;
    named_[0] = named_[1] = false;
    return false;
  }
  memcpy(node_key_, record.node_key, sizeof node_key_);
  note(record);
  if (phase_ == NetworkPhase::kOnTrial) {
    if (++record.starts >= kNetworkTrialStarts) put_back();
    else write(&record);
  } else if (!other_sector_is_clean(record)) {
    write(&record);
  }
  return true;
}

bool Credentials::network(Which which, Network *to) const {
  CredentialsRecord record;
  Newest newest;
  if (!read_record(*flash_, *partition_, &record, &newest)) return false;
  *to = record.networks[static_cast<size_t>(which)];
  return true;
}

Code Credentials::give(const Network &fresh, uint16_t trial_s) {
  CredentialsRecord record;
  if (!read(&record)) return Code::kFlashFailed;
  record.networks[static_cast<size_t>(Which::kNew)] = fresh;
  record.phase = NetworkPhase::kOnTrial;
  record.starts = 0;
  record.trial_s = trial_s;
  return write(&record) ? Code::kOk : Code::kFlashFailed;
}

Code Credentials::keep() { return end_trial(Which::kNew); }
Code Credentials::put_back() { return end_trial(Which::kKept); }

// The second record is for the other sector: without it the passphrase that was given up would stay there. Should it fail, the next
// start makes it good.
Code Credentials::end_trial(Which stays) {
  if (phase_ != NetworkPhase::kOnTrial) return Code::kNotOnTrial;
  CredentialsRecord record;
  if (!read(&record)) return Code::kFlashFailed;
  record.networks[0] = record.networks[static_cast<size_t>(stays)];
  record.networks[1] = Network{};
  record.phase = stays == Which::kNew ? NetworkPhase::kKept : NetworkPhase::kPutBack;
  record.starts = 0;
  record.trial_s = 0;
  if (!write(&record)) return Code::kFlashFailed;
  write(&record);
  return Code::kOk;
}

// Where the newest record is stays as it is known: it was firmed since this start, or not.
bool Credentials::read(CredentialsRecord *to) {
  Newest now;
  if (!read_record(*flash_, *partition_, to, &now)) return false;
  if (now.sector != newest_.sector) newest_ = now;
  return true;
}

bool Credentials::write(CredentialsRecord *record) {
  if (!write_next(*flash_, sectors_of(*partition_), record, &newest_)) return false;
  note(*record);
  return true;
}

void Credentials::note(const CredentialsRecord &record) {
  phase_ = record.phase;
  trial_s_ = record.trial_s;
  for (size_t i = 0; i < 2; ++i) named_[i] = record.networks[i].name[0] != '\0';
}

// It is when it is erased, or holds nothing of a network that the newest record does not. A cut between the two records of
// end_trial(), or within the second, leaves it otherwise.
bool Credentials::other_sector_is_clean(const CredentialsRecord &record) const {
  CredentialsRecord other;
  const Area &at = partition_->credentials[newest_.sector == 0 ? 1 : 0];
  if (!flash_->read(flash_->ctx, at.at, &other, sizeof other)) return true;
  if (memcmp(other.networks, record.networks, sizeof other.networks) == 0) return true;
  const uint8_t *bytes = reinterpret_cast<const uint8_t *>(other.networks);
  for (size_t i = 0; i < sizeof other.networks; ++i) {
    if (bytes[i] != 0xFF) return false;
  }
  return true;
}

bool first_credentials(const Flash &flash, const Partition &partition, const uint8_t node_key[32], const Network &network) {
  CredentialsRecord record = {}, back;
  Newest newest = kNoneYet;
  memcpy(record.node_key, node_key, sizeof record.node_key);
  record.networks[0] = network;
  return flash.erase(flash.ctx, partition.credentials[0].at) && flash.erase(flash.ctx, partition.credentials[1].at) &&
         write_next(flash, sectors_of(partition), &record, &newest) && read_record(flash, partition, &back, &newest) &&
         memcmp(&back, &record, sizeof back) == 0;
}

}  // namespace tn
