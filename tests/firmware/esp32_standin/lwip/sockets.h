// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in lwIP 2.1.2 of esp-idf 4.4.7, src/include/lwip/sockets.h.
#ifndef TN_STANDIN_LWIP_SOCKETS_H
#define TN_STANDIN_LWIP_SOCKETS_H

#include <stddef.h>
#include <stdint.h>
#include <sys/time.h>  // struct timeval, as LWIP_TIMEVAL_PRIVATE 0 of esp-idf's lwipopts.h has it

extern "C" {
typedef uint32_t socklen_t;
typedef int32_t ssize_t_of_lwip;
struct in_addr {
  uint32_t s_addr;
};
struct sockaddr {
  uint8_t sa_len;
  uint8_t sa_family;
  char sa_data[14];
};
struct sockaddr_in {
  uint8_t sin_len;
  uint8_t sin_family;
  uint16_t sin_port;
  struct in_addr sin_addr;
  char sin_zero[8];
};
#define AF_INET 2
#define SOCK_STREAM 1
#define SOL_SOCKET 0xfff
#define IPPROTO_TCP 6
#define SO_REUSEADDR 0x0004
#define SO_SNDTIMEO 0x1005
#define TCP_NODELAY 0x01
#define MSG_DONTWAIT 0x08
#define INADDR_ANY ((uint32_t)0x00000000UL)
#define F_SETFL 4
#define O_NONBLOCK 1
int lwip_accept(int s, struct sockaddr *addr, socklen_t *addrlen);
int lwip_bind(int s, const struct sockaddr *name, socklen_t namelen);
int lwip_close(int s);
int lwip_fcntl(int s, int cmd, int val);
int lwip_listen(int s, int backlog);
ssize_t_of_lwip lwip_recv(int s, void *mem, size_t len, int flags);
ssize_t_of_lwip lwip_send(int s, const void *dataptr, size_t size, int flags);
int lwip_setsockopt(int s, int level, int optname, const void *optval, socklen_t optlen);
int lwip_socket(int domain, int type, int protocol);
}

#endif
