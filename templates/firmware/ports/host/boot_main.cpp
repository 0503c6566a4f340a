// The boot loader of a virtual node, `tanknode-boot`:
//   run  --flash FILE [options of the node]    start the image that the trial record names, with the same options and --slot a|b
//   load --flash FILE --layout two-slot|copy-in-place --image FILE --ticket FILE    make a fresh flash file, as the first flash
//        over USB would; the node key comes on standard input, 64 hex digits, and on two further lines network
//        and passphrase, if it has any
// Exit status of its own: 64 usage, 70 the first flash failed, 71 the image could not be started, 78 nothing bootable.
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "../../core/credentials.h"
#include "../../core/slots.h"
#include "crypto_bearssl.h"
#include "flash_file.h"
#include "reset_word.h"

namespace {

constexpr int kUsage = 64, kLoadFailed = 70, kStartFailed = 71, kNothingBootable = 78;
constexpr int kMostArguments = 40;

tn::FlashFile flash;
tn::Slots slots;

int complain(int status, const char *what, const char *why) {
  fprintf(stderr, "tanknode-boot: %s: %s\n", what, why);
  return status;
}

const char *option(int count, char **arguments, const char *name) {
  for (int i = 2; i + 1 < count; i += 2)
    if (strcmp(arguments[i], name) == 0) return arguments[i + 1];
  return nullptr;
}

// --- run

// Which of the two maps this flash was made with is written in its records.
const tn::Partition *partition_of(const tn::Flash &from) {
  static const tn::Partition *const kMaps[] = {&tn::kHostTwoSlot, &tn::kHostCopyInPlace};
  tn::SlotRecord record;
  tn::Newest newest;
  for (const tn::Partition *map : kMaps)
    if (tn::read_record(from, *map, &record, &newest)) return map;
  return nullptr;
}

bool copy_out(uint32_t at, uint32_t bytes, int fd) {
  uint8_t part[tn::kSectorBytes];
  for (uint32_t done = 0; done < bytes;) {
    const uint32_t n = bytes - done < sizeof part ? bytes - done : static_cast<uint32_t>(sizeof part);
    if (!flash.flash.read(&flash, at + done, part, n)) return false;
    for (uint32_t put = 0; put < n;) {
      const ssize_t wrote = write(fd, part + put, n - put);
      if (wrote < 0 && errno == EINTR) continue;
      if (wrote <= 0) return false;
      put += static_cast<uint32_t>(wrote);
    }
    done += n;
  }
  return true;
}

// Runs the program in `fd`; comes back only on failure.
void execute(int fd, char **arguments) {
  static char *const kNoEnvironment[] = {nullptr};
  fexecve(fd, arguments, kNoEnvironment);
}

// The image as a file in memory; where programs may not be started from memory, as a file beside the flash, which has no name any
// more by the time it runs.
void start_image(const char *flash_path, uint32_t at, uint32_t bytes, char **arguments) {
  int fd = memfd_create("tank-node", MFD_CLOEXEC);
  if (fd >= 0) {
    if (copy_out(at, bytes, fd)) execute(fd, arguments);
    close(fd);
  }
  char path[4096];
  const int length = snprintf(path, sizeof path, "%s.running-%ld", flash_path, static_cast<long>(getpid()));
  if (length < 0 || length >= static_cast<int>(sizeof path)) return;
  fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0700);
  if (fd < 0) return;
  const bool copied = copy_out(at, bytes, fd);
  close(fd);
  fd = copied ? open(path, O_RDONLY | O_CLOEXEC) : -1;
  unlink(path);
  if (fd >= 0) execute(fd, arguments);
}

int run(int count, char **arguments) {
  const char *const path = option(count, arguments, "--flash");
  if (path == nullptr || count % 2 != 0 || count + 2 > kMostArguments || option(count, arguments, "--slot") != nullptr)
    return complain(kUsage, "run", "options come in pairs, --flash FILE among them, --slot not");
  const char *const word = option(count, arguments, "--reset");
  tn::Reset cause = tn::Reset::kPowerOn;
  if (word != nullptr && !tn::read_reset(word, &cause)) return complain(kUsage, "--reset", "is not followed by a cause of a start");
  if (!tn::open_flash_file(path, &flash)) return complain(kNothingBootable, path, strerror(errno));
  const tn::Partition *const partition = partition_of(flash.flash);
  if (partition == nullptr) return complain(kNothingBootable, path, "nothing bootable: no trial record, the node was never flashed");
  slots.begin(&flash.flash, partition, tn::bearssl_crypto());
  const tn::Choice choice = slots.choose(cause);
  if (choice.boot != tn::Boot::kStart)
    return complain(kNothingBootable, path, "nothing bootable: no image matches its digest");
  if (!choice.recorded) complain(0, path, "this start could not be counted");
  char slot_name[] = "--slot", slot_a[] = "a", slot_b[] = "b", name[] = "tank-node";
  char *passed[kMostArguments];
  int n = 0;
  passed[n++] = name;
  for (int i = 2; i < count; ++i) passed[n++] = arguments[i];
  passed[n++] = slot_name;
  passed[n++] = choice.area == 0 ? slot_a : slot_b;
  passed[n] = nullptr;
  start_image(path, partition->images[choice.area].at, choice.bytes, passed);
  return complain(kStartFailed, path, strerror(errno));
}

// --- load

// What the first flash gives beside the image.
struct Given {
  uint8_t node_key[32];
  tn::Network network;
};

// A line without its end; at the input's end there are only empty ones.
bool read_line(char *to, size_t room) {
  to[0] = '\0';
  if (fgets(to, static_cast<int>(room), stdin) == nullptr) return ferror(stdin) == 0;
  const size_t n = strcspn(to, "\r\n");
  const bool whole = to[n] != '\0' || feof(stdin) != 0;
  to[n] = '\0';
  return whole;
}

bool read_node_key(uint8_t key[32]) {
  char text[80];
  if (!read_line(text, sizeof text) || strlen(text) != 64 || strspn(text, "0123456789abcdefABCDEF") != 64) return false;
  for (int i = 0; i < 32; ++i) {
    unsigned byte = 0;
    sscanf(text + 2 * i, "%2x", &byte);
    key[i] = static_cast<uint8_t>(byte);
  }
  return true;
}

// The key, then the network and its passphrase, each on its own line and each of them empty if it is left out.
bool read_given(Given *to) {
  char name[80], passphrase[80];
  *to = Given{};
  if (!read_node_key(to->node_key) || !read_line(name, sizeof name) || !read_line(passphrase, sizeof passphrase)) return false;
  if (strlen(name) >= tn::kNetworkNameBytes || strlen(passphrase) >= tn::kPassphraseBytes) return false;
  memcpy(to->network.name, name, strlen(name));
  memcpy(to->network.passphrase, passphrase, strlen(passphrase));
  return true;
}

// Bytes of the file, at most `room`; -1: cannot be read, or is longer.
long read_whole(const char *path, uint8_t *to, size_t room) {
  FILE *const file = fopen(path, "rb");
  if (file == nullptr) return -1;
  const size_t n = fread(to, 1, room, file);
  const bool over = n == room && fgetc(file) != EOF;
  const bool bad = ferror(file) != 0;
  fclose(file);
  errno = over ? EFBIG : errno;
  return over || bad ? -1 : static_cast<long>(n);
}

bool program_image(uint32_t at, const uint8_t *bytes, size_t n) {
  for (size_t done = 0; done < n; done += tn::kSectorBytes) {
    const size_t part = n - done < tn::kSectorBytes ? n - done : tn::kSectorBytes;
    if (!flash.flash.program(&flash, at + static_cast<uint32_t>(done), bytes + done, static_cast<uint32_t>(part))) return false;
  }
  return true;
}

// Null when all went well, else what did not.
const char *fill(const tn::Partition &partition, const uint8_t *image, size_t image_n, const uint8_t *ticket_bytes,
                 size_t ticket_n, const Given &given) {
  tn::Ticket ticket;
  const tn::Crypto *const crypto = tn::bearssl_crypto();
  if (tn::parse_ticket(ticket_bytes, ticket_n, *crypto, &ticket, nullptr, nullptr, nullptr) != tn::Code::kOk)
    return "the ticket cannot be read";
  if (ticket.size_bytes != image_n) return "the size of the image is not the ticket's";
  slots.begin(&flash.flash, &partition, crypto);
  if (image_n > slots.room()) return "the image is larger than the slot";
  if (!program_image(partition.images[0].at, image, image_n)) return strerror(errno);
  if (!tn::first_credentials(flash.flash, partition, given.node_key, given.network)) return "the credentials could not be written";
  const tn::Code code = slots.first_flash(ticket, ticket_bytes, ticket_n);
  return code == tn::Code::kOk ? nullptr : tn::title_of(code);
}

int load(int count, char **arguments) {
  static uint8_t image[tn::kHostFlashBytes];
  static uint8_t ticket[tn::kTicketBytes];
  const char *const path = option(count, arguments, "--flash"), *const layout = option(count, arguments, "--layout");
  const char *const image_path = option(count, arguments, "--image"), *const ticket_path = option(count, arguments, "--ticket");
  if (count != 10 || path == nullptr || layout == nullptr || image_path == nullptr || ticket_path == nullptr)
    return complain(kUsage, "load", "needs --flash --layout --image --ticket");
  const bool two_slot = strcmp(layout, "two-slot") == 0;
  if (!two_slot && strcmp(layout, "copy-in-place") != 0) return complain(kUsage, layout, "is not two-slot or copy-in-place");
  Given given;
  if (!read_given(&given)) return complain(kUsage, "node key", "64 hex digits are expected on standard input, then network and passphrase");
  const long image_n = read_whole(image_path, image, sizeof image), ticket_n = read_whole(ticket_path, ticket, sizeof ticket);
  if (image_n < 0) return complain(kLoadFailed, image_path, strerror(errno));
  if (ticket_n < 0) return complain(kLoadFailed, ticket_path, strerror(errno));
  if (!tn::create_flash_file(path, &flash)) return complain(kLoadFailed, path, strerror(errno));
  const char *const wrong = fill(two_slot ? tn::kHostTwoSlot : tn::kHostCopyInPlace, image, static_cast<size_t>(image_n), ticket,
                                 static_cast<size_t>(ticket_n), given);
  tn::close_flash_file(&flash);
  if (wrong == nullptr) return 0;
  unlink(path);
  return complain(kLoadFailed, path, wrong);
}

}  // namespace

int main(int count, char **arguments) {
  if (count >= 2 && strcmp(arguments[1], "run") == 0) return run(count, arguments);
  if (count >= 2 && strcmp(arguments[1], "load") == 0) return load(count, arguments);
  return complain(kUsage, "usage", "tanknode-boot run|load --flash FILE ...");
}
