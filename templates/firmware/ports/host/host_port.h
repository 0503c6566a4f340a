// tn::Port of a virtual node: pins in a shared file, a clock that can run fast for the water, TCP and DNS-SD on one loopback
// address, flash in a file.
#ifndef TN_HOST_PORT_H
#define TN_HOST_PORT_H

#include "../../core/port.h"
#include "air.h"
#include "announce.h"
#include "flash_file.h"
#include "pins_file.h"
#include "tcp_server.h"

namespace tn {

constexpr int kRestartStatus = 75;               // exit status that asks for another start through the boot loader
constexpr uint32_t kHostFreeBytes = 40000;       // what a board of this kind has to spare (simulated)

struct HostArguments {
  const char *flash;
  const char *pins;
  const char *address;
  uint16_t http_port;
  uint8_t mac[6];
  double speed;  // process time runs this much faster
  Reset reset;
  uint8_t area;  // running image: 0 = slot a, 1 = slot b
  const char *console;  // a terminal, or null: no console
  const char *air;      // the file of air.h, or null: the one network is always there
  const char *bench;    // id of the bench that the node is on, or null: none, it announces itself as a real board does
};

// `--flash FILE --pins FILE --address 127.x.y.z --port N --mac aa:bb:cc:dd:ee:ff --speed N --reset WORD --slot a|b
// [--console TERMINAL] [--air FILE] [--bench ID]`, any order.
// False: `wrong` names the argument that is missing, unknown or cannot be read.
bool read_host_arguments(int count, char **arguments, HostArguments *to, const char **wrong);

struct HostPort {
  HostArguments arguments;
  const NodeBlock *block;
  volatile PinsFile *pins;
  FlashFile flash;
  TcpServer server;
  Announcer announcer;
  Air air;
  uint64_t start_ms;
  bool radio_on;   // between Port::join with a network and the one without
  int console_fd;  // -1: none
  Port port;
};

uint64_t host_now_ms();
uint64_t host_process_ms(const HostPort &host);
bool host_network_up(HostPort *host);
bool start_host_port(HostPort *host, const char **wrong);  // false: `wrong` names what failed, errno says why

}  // namespace tn

#endif
