#include "host_port.h"

#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>
#include <unistd.h>

#include "crypto_bearssl.h"
#include "defect.h"

namespace tn {

namespace {

HostPort *host_of(void *ctx) { return static_cast<HostPort *>(ctx); }

bool probe_is_low(void *ctx, uint8_t pin, uint8_t) {
  if (pin >= kHostPins) return false;
  volatile PinsFile *pins = host_of(ctx)->pins;
  pins->modes[pin] = 0;
  const bool low = pins->inputs[pin] == 0;
  return kDefect == Defect::kProbesInverted ? !low : low;
}

bool active_level_of(const NodeBlock &block, uint8_t pin) {
  for (size_t i = 0; i < block.tank_count; ++i) {
    if (block.tanks[i].pump_pin == pin) return block.tanks[i].pump_active_high != 0;
  }
  return false;
}

void relay(void *ctx, uint8_t pin, bool level_high) {
  if (pin >= kHostPins) return;
  HostPort *host = host_of(ctx);
  if (kDefect == Defect::kPumpStuckOn) level_high = active_level_of(*host->block, pin);
  host->pins->outputs[pin] = level_high ? 1 : 0;
  host->pins->modes[pin] = 1;
}

void feed(void *ctx, uint8_t pin, bool on) {
  if (pin >= kHostPins) return;
  volatile PinsFile *pins = host_of(ctx)->pins;
  pins->outputs[pin] = on ? 1 : 0;
  pins->modes[pin] = on ? 1 : 0;
}

uint64_t now_ms(void *) { return host_now_ms(); }
uint64_t process_ms(void *ctx) { return host_process_ms(*host_of(ctx)); }

int accept_one(void *ctx) {
  HostPort *host = host_of(ctx);
  return host_network_up(host) ? host->server.accept_one() : -1;
}
int receive(void *ctx, int handle, uint8_t *to, size_t n) { return host_of(ctx)->server.receive(handle, to, n); }
int send_some(void *ctx, int handle, const uint8_t *from, size_t n) {
  return host_of(ctx)->server.send_some(handle, from, n);
}
void close_one(void *ctx, int handle) { host_of(ctx)->server.close_one(handle); }

void announce(void *ctx, const Announcement *what) { host_of(ctx)->announcer.set(*what, host_now_ms()); }

void goodbye(void *ctx) {
  HostPort *host = host_of(ctx);
  if (host_network_up(host)) host->announcer.goodbye();
}

void restart(void *) { _exit(kRestartStatus); }

void feed_watchdog(void *ctx) {
  volatile PinsFile *pins = host_of(ctx)->pins;
  pins->heartbeat = pins->heartbeat + 1;
}

void random_bytes(void *, uint8_t *to, size_t n) {
  if (getrandom(to, n, 0) != static_cast<ssize_t>(n)) abort();
}

uint32_t free_bytes(void *ctx) {
  HostPort *host = host_of(ctx);
  uint64_t leaked = 0;
  if (kDefect == Defect::kLeaksMemory) leaked = host_process_ms(*host) * kLeakBytesPerSecond / 1000u;
  if (leaked >= kHostFreeBytes) abort();  // what a board does when there is no memory left
  host->pins->free_bytes = kHostFreeBytes - static_cast<uint32_t>(leaked);
  return host->pins->free_bytes;
}

bool rssi_dbm(void *, int16_t *) { return false; }
bool network_up(void *ctx) { return host_network_up(host_of(ctx)); }
bool access_point(void *ctx, uint8_t bssid[6], uint8_t *channel) { return host_of(ctx)->air.access_point(host_now_ms(), bssid, channel); }
void mac(void *ctx, uint8_t to[6]) { memcpy(to, host_of(ctx)->arguments.mac, 6); }
Reset reset_reason(void *ctx) { return host_of(ctx)->arguments.reset; }

void join(void *ctx, const char *network, const char *passphrase) {
  host_of(ctx)->radio_on = network != nullptr;
  host_of(ctx)->air.tune(network, passphrase);
}

int console_read(void *ctx) {
  uint8_t byte = 0;
  return read(host_of(ctx)->console_fd, &byte, 1) == 1 ? byte : -1;
}

size_t console_write(void *ctx, const char *from, size_t n) {
  const ssize_t wrote = write(host_of(ctx)->console_fd, from, n);
  return wrote > 0 ? static_cast<size_t>(wrote) : 0;
}

bool open_console(HostPort *host) {
  host->console_fd = -1;
  if (host->arguments.console == nullptr) return true;
  host->console_fd = open(host->arguments.console, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (host->console_fd < 0) return false;
  host->port.console_read = console_read;
  host->port.console_write = console_write;
  return true;
}

void fill_in(HostPort *host) {
  Port &port = host->port;
  port.ctx = host;
  port.probe_is_low = probe_is_low;
  port.feed = feed;
  port.relay = relay;
  port.now_ms = now_ms;
  port.process_ms = process_ms;
  port.flash = &host->flash.flash;
  port.accept = accept_one;
  port.recv = receive;
  port.send = send_some;
  port.close = close_one;
  port.announce = announce;
  port.goodbye = goodbye;
  port.restart = restart;
  port.feed_watchdog = feed_watchdog;
  port.random = random_bytes;
  port.free_bytes = free_bytes;
  port.rssi_dbm = rssi_dbm;
  port.network_up = network_up;
  if (host->arguments.air != nullptr) port.access_point = access_point;
  port.mac = mac;
  port.reset_reason = reset_reason;
  port.crypto = bearssl_crypto();
  port.join = join;
}

}  // namespace

uint64_t host_now_ms() {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return static_cast<uint64_t>(t.tv_sec) * 1000u + static_cast<uint64_t>(t.tv_nsec) / 1000000u;
}

uint64_t host_process_ms(const HostPort &host) {
  return static_cast<uint64_t>(static_cast<double>(host_now_ms() - host.start_ms) * host.arguments.speed);
}

bool host_network_up(HostPort *host) {
  if (kDefect == Defect::kNoNetwork || !host->radio_on || host->pins->network_down != 0) return false;
  return host->arguments.air == nullptr || host->air.joined(host_now_ms());
}

bool start_host_port(HostPort *host, const char **wrong) {
  host->start_ms = host_now_ms();
  *wrong = host->arguments.pins;
  host->pins = open_pins_file(host->arguments.pins);
  if (host->pins == nullptr) return false;
  *wrong = host->arguments.flash;
  if (!open_flash_file(host->arguments.flash, &host->flash)) return false;
  *wrong = host->arguments.address;
  if (!host->server.start(host->arguments.address, host->arguments.http_port)) return false;
  uint32_t seed = 0;
  random_bytes(nullptr, reinterpret_cast<uint8_t *>(&seed), sizeof seed);
  const HostArguments &arguments = host->arguments;
  if (!host->announcer.start(arguments.address, arguments.http_port, arguments.bench, seed)) return false;
  host->air.start(host->arguments.air);
  fill_in(host);
  *wrong = host->arguments.console;
  return open_console(host);
}

}  // namespace tn
