// A sink for images: the least that looks like a node to a client of docs/node-interface.md, so that a figure is the client's.
// GET /v1/state: a state document, signed. PUT /v1/image: go-ahead, the whole body read and thrown away, a signed 202.
// Nothing is checked, so that an unsigned upload is served alike. One thread, epoll.
// usage: sink NODE KEY_HEX DOCUMENT_FILE        prints the port; ends when its standard input ends
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <bearssl.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/epoll.h>
#include <unistd.h>

enum { kConnections = 4096, kHeadBytes = 2048, kSinkBytes = 1 << 18, kEvents = 64 };

struct connection {
  size_t head_n;
  long body_left;  // -1: the head is not whole yet
  char method[8], path[32], nonce[72];
  char head[kHeadBytes + 1];
};

static struct connection connections[kConnections];
static const char *node;
static unsigned char key[32];
static char document[16384];
static size_t document_n;
static char sink[kSinkBytes];

static void base64(const unsigned char *from, char to[45]) {
  static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  for (int i = 0; i < 10; ++i) {
    const unsigned three = from[3 * i] << 16 | from[3 * i + 1] << 8 | from[3 * i + 2];
    for (int k = 0; k < 4; ++k) to[4 * i + k] = digits[three >> (18 - 6 * k) & 63];
  }
  const unsigned two = from[30] << 10 | from[31] << 2;
  for (int k = 0; k < 3; ++k) to[40 + k] = digits[two >> (12 - 6 * k) & 63];
  memcpy(to + 43, "=", 2);
}

static size_t sign(const struct connection *c, int status, const char *body, size_t body_n, char *to, size_t room) {
  unsigned char sum[32];
  char digest[45], signature[45], params[256], base[1024];
  br_sha256_context sha;
  br_sha256_init(&sha);
  br_sha256_update(&sha, body, body_n);
  br_sha256_out(&sha, sum);
  base64(sum, digest);
  snprintf(params, sizeof params,
           "(\"@status\" \"content-digest\" \"@method\";req \"@path\";req);nonce=\"%s\";keyid=\"%s\";alg=\"hmac-sha256\"", c->nonce,
           node);
  const int base_n = snprintf(base, sizeof base,
                              "\"@status\": %d\n\"content-digest\": sha-256=:%s:\n\"@method\";req: %s\n\"@path\";req: %s\n"
                              "\"@signature-params\": %s",
                              status, digest, c->method, c->path, params);
  br_hmac_key_context hmac_key;
  br_hmac_context hmac;
  br_hmac_key_init(&hmac_key, &br_sha256_vtable, key, sizeof key);
  br_hmac_init(&hmac, &hmac_key, 0);
  br_hmac_update(&hmac, base, (size_t)base_n);
  br_hmac_out(&hmac, sum);
  base64(sum, signature);
  return (size_t)snprintf(to, room, "Content-Digest: sha-256=:%s:\r\nSignature-Input: tank=%s\r\nSignature: tank=:%s:\r\n", digest, params,
                          signature);
}

static void answer(int fd, const struct connection *c, int status, const char *body, size_t body_n) {
  char out[kHeadBytes + sizeof document];
  size_t n = (size_t)snprintf(out, sizeof out,
                              "HTTP/1.1 %d OK\r\nContent-Type: application/json\r\nContent-Length: %zu\r\nConnection: close\r\n", status,
                              body_n);
  if (c->nonce[0] != '\0') n += sign(c, status, body, body_n, out + n, sizeof out - n);
  memcpy(out + n, "\r\n", 2);
  memcpy(out + n + 2, body, body_n);
  if (write(fd, out, n + 2 + body_n) < 0) perror("sink");
  close(fd);
}

static const char *field(const struct connection *c, const char *name) {
  for (const char *line = strstr(c->head, "\r\n"); line != NULL; line = strstr(line + 2, "\r\n")) {
    if (strncasecmp(line + 2, name, strlen(name)) == 0) return line + 2 + strlen(name);
  }
  return NULL;
}

static void finish(int fd, const struct connection *c) {
  static const char done[] = "{\"ok\":true,\"phase\":\"on-trial\"}";
  if (strcmp(c->path, "/v1/state") == 0) {
    answer(fd, c, 200, document, document_n);
  } else {
    answer(fd, c, 202, done, sizeof done - 1);
  }
}

static void head_is_whole(int fd, struct connection *c, size_t body_n) {
  c->body_left = 0;
  sscanf(c->head, "%7s %31s", c->method, c->path);
  const char *length = field(c, "Content-Length:"), *wish = field(c, "Accept-Signature:");
  const char *nonce = wish != NULL ? strstr(wish, "nonce=\"") : NULL;
  if (nonce != NULL) sscanf(nonce + 7, "%64[A-Za-z0-9_-]", c->nonce);
  if (length != NULL) c->body_left = atol(length) - (long)body_n;
  if (c->body_left <= 0) {
    finish(fd, c);
  } else if (field(c, "Expect:") != NULL && body_n == 0) {
    static const char go_ahead[] = "HTTP/1.1 100 Continue\r\n\r\n";
    if (write(fd, go_ahead, sizeof go_ahead - 1) < 0) perror("sink");
  }
}

static void readable(int fd) {
  struct connection *c = &connections[fd];
  if (c->body_left >= 0) {
    const ssize_t n = read(fd, sink, sizeof sink);
    if (n <= 0) {
      close(fd);
    } else if ((c->body_left -= n) <= 0) {
      finish(fd, c);
    }
    return;
  }
  const ssize_t n = read(fd, c->head + c->head_n, kHeadBytes - c->head_n);
  if (n <= 0) {
    close(fd);
    return;
  }
  c->head_n += (size_t)n;
  c->head[c->head_n] = '\0';
  char *end = strstr(c->head, "\r\n\r\n");
  if (end == NULL) return;
  const size_t head_n = (size_t)(end - c->head) + 4;
  end[2] = '\0';
  head_is_whole(fd, c, c->head_n - head_n);
}

static void take(int listener, int poller) {
  for (int fd; (fd = accept4(listener, NULL, NULL, SOCK_NONBLOCK | SOCK_CLOEXEC)) >= 0;) {
    if (fd >= kConnections) {
      close(fd);
      continue;
    }
    connections[fd].head_n = 0;
    connections[fd].body_left = -1;
    connections[fd].nonce[0] = '\0';
    struct epoll_event wanted = {.events = EPOLLIN, .data.fd = fd};
    epoll_ctl(poller, EPOLL_CTL_ADD, fd, &wanted);
  }
}

int main(int count, char **words) {
  if (count != 4) return 64;
  node = words[1];
  for (int i = 0; i < 32; ++i) sscanf(words[2] + 2 * i, "%2hhx", &key[i]);
  FILE *file = fopen(words[3], "rb");
  if (file == NULL) return 66;
  document_n = fread(document, 1, sizeof document, file);
  fclose(file);
  const int listener = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK, 0), poller = epoll_create1(0);
  struct sockaddr_in at = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
  socklen_t at_n = sizeof at;
  if (bind(listener, (struct sockaddr *)&at, at_n) != 0 || listen(listener, 1024) != 0) return 71;
  getsockname(listener, (struct sockaddr *)&at, &at_n);
  printf("%d\n", ntohs(at.sin_port));
  fflush(stdout);
  struct epoll_event events[kEvents], wanted = {.events = EPOLLIN, .data.fd = listener};
  epoll_ctl(poller, EPOLL_CTL_ADD, listener, &wanted);
  wanted.data.fd = STDIN_FILENO;
  epoll_ctl(poller, EPOLL_CTL_ADD, STDIN_FILENO, &wanted);
  for (;;) {
    const int n = epoll_wait(poller, events, kEvents, -1);
    for (int i = 0; i < n; ++i) {
      const int fd = events[i].data.fd;
      if (fd == STDIN_FILENO) return 0;
      if (fd == listener) {
        take(listener, poller);
      } else {
        readable(fd);
      }
    }
  }
}
