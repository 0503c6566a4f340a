// The other side of a node's trust for the tests: signs tickets and requests with BearSSL alone, and shares no code with the
// core. Bytes are laid out by hand after docs/node-interface.md sections 3 and 5.
#ifndef TN_TEST_SIGN_HELPER_H
#define TN_TEST_SIGN_HELPER_H

#include <bearssl.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

namespace sign {

struct KeyPair {
  unsigned char secret[32];
  unsigned char point[65];
  unsigned char id[8];
};

inline void sha256(const void *data, size_t n, unsigned char out[32]) {
  br_sha256_context c;
  br_sha256_init(&c);
  br_sha256_update(&c, data, n);
  br_sha256_out(&c, out);
}

inline br_ec_private_key private_key(KeyPair *pair) {
  return br_ec_private_key{BR_EC_secp256r1, pair->secret, sizeof pair->secret};
}

inline KeyPair key_pair(unsigned char number) {
  KeyPair pair;
  memset(pair.secret, number, sizeof pair.secret);
  const br_ec_private_key key = private_key(&pair);
  unsigned char buffer[BR_EC_KBUF_PUB_MAX_SIZE];
  br_ec_public_key pub;
  br_ec_compute_pub(br_ec_get_default(), &pub, buffer, &key);
  memcpy(pair.point, pub.q, 65);
  unsigned char digest[32];
  sha256(pair.point, 65, digest);
  memcpy(pair.id, digest, 8);
  return pair;
}

// ---------------------------------------------------------------- tickets
struct Bytes {
  unsigned char at[1024];
  size_t n;
};

inline void add(Bytes *b, const void *data, size_t n) {
  memcpy(b->at + b->n, data, n);
  b->n += n;
}

// Head of a CBOR item: shortest form (RFC 8949 section 4.2.1).
inline void cbor(Bytes *b, unsigned major, uint64_t value) {
  const int wide = value < 24 ? 0 : value < 0x100 ? 1 : value < 0x10000 ? 2 : value < 0x100000000ull ? 4 : 8;
  unsigned char head[9];
  const unsigned info = wide == 0 ? static_cast<unsigned>(value) : wide == 1 ? 24u : wide == 2 ? 25u : wide == 4 ? 26u : 27u;
  head[0] = static_cast<unsigned char>(major << 5 | info);
  for (int i = 0; i < wide; ++i) head[1 + i] = static_cast<unsigned char>(value >> (8 * (wide - 1 - i)));
  add(b, head, static_cast<size_t>(1 + wide));
}
inline void cbor_string(Bytes *b, unsigned major, const void *data, size_t n) {
  cbor(b, major, n);
  add(b, data, n);
}

struct TicketFields {
  uint64_t sequence;
  unsigned char vendor_id[16];
  unsigned char class_id[16];
  char node[64];
  char format[16];
  uint64_t size_bytes;
  unsigned char sha256[32];
  char release[24];
};

inline Bytes ticket(const TicketFields &f, KeyPair *pair) {
  Bytes payload = {}, header = {}, structure = {}, out = {};
  cbor(&payload, 5, 9);
  cbor(&payload, 0, 1), cbor(&payload, 0, 1);
  cbor(&payload, 0, 2), cbor(&payload, 0, f.sequence);
  cbor(&payload, 0, 3), cbor_string(&payload, 2, f.vendor_id, 16);
  cbor(&payload, 0, 4), cbor_string(&payload, 2, f.class_id, 16);
  cbor(&payload, 0, 5), cbor_string(&payload, 3, f.node, strlen(f.node));
  cbor(&payload, 0, 6), cbor_string(&payload, 3, f.format, strlen(f.format));
  cbor(&payload, 0, 7), cbor(&payload, 0, f.size_bytes);
  cbor(&payload, 0, 8), cbor_string(&payload, 2, f.sha256, 32);
  cbor(&payload, 0, 9), cbor_string(&payload, 3, f.release, strlen(f.release));
  cbor(&header, 5, 2);
  cbor(&header, 0, 1), cbor(&header, 1, 6);  // -7: ES256
  cbor(&header, 0, 4), cbor_string(&header, 2, pair->id, 8);
  cbor(&structure, 4, 4);
  cbor_string(&structure, 3, "Signature1", 10);
  cbor_string(&structure, 2, header.at, header.n);
  cbor(&structure, 2, 0);
  cbor_string(&structure, 2, payload.at, payload.n);
  unsigned char digest[32], signature[64];
  sha256(structure.at, structure.n, digest);
  const br_ec_private_key key = private_key(pair);
  br_ecdsa_i31_sign_raw(br_ec_get_default(), &br_sha256_vtable, digest, &key, signature);
  cbor(&out, 6, 18);
  cbor(&out, 4, 4);
  cbor_string(&out, 2, header.at, header.n);
  cbor(&out, 5, 0);
  cbor_string(&out, 2, payload.at, payload.n);
  cbor_string(&out, 2, signature, 64);
  return out;
}

// ---------------------------------------------------------------- requests
inline void base64(const unsigned char *from, size_t n, char *to) {
  const char *const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  for (size_t i = 0; i < n; i += 3) {
    const unsigned a = from[i], b = i + 1 < n ? from[i + 1] : 0u, c = i + 2 < n ? from[i + 2] : 0u;
    *to++ = letters[a >> 2];
    *to++ = letters[(a & 3u) << 4 | b >> 4];
    *to++ = i + 1 < n ? letters[(b & 15u) << 2 | c >> 6] : '=';
    *to++ = i + 2 < n ? letters[c & 63u] : '=';
  }
  *to = '\0';
}

inline void hmac(const unsigned char key[32], const char *text, unsigned char out[32]) {
  br_hmac_key_context k;
  br_hmac_context c;
  br_hmac_key_init(&k, &br_sha256_vtable, key, 32);
  br_hmac_init(&c, &k, 0);
  br_hmac_update(&c, text, strlen(text));
  br_hmac_out(&c, out);
}

struct Request {
  const char *method;
  const char *path;
  const char *nonce;
  const char *node;
  unsigned char key[32];
  const unsigned char *body_sha256;  // 32 bytes
  const Bytes *ticket;               // null: none
  const char *more;                  // further header lines, each with CRLF
  bool has_length;
  size_t length;
};

// The head of a signed request, its empty line included. Returns its length.
inline size_t write_head(const Request &r, char *to, size_t room) {
  char digest[64], ticket_text[800] = "", base[2048], params[256], signature[64];
  unsigned char mac[32];
  base64(r.body_sha256, 32, digest);
  if (r.ticket != nullptr) base64(r.ticket->at, r.ticket->n, ticket_text);
  snprintf(params, sizeof params, "(\"@method\" \"@path\" \"content-digest\"%s);nonce=\"%s\";keyid=\"%s\";alg=\"hmac-sha256\"",
           r.ticket == nullptr ? "" : " \"tank-ticket\"", r.nonce, r.node);
  int n = snprintf(base, sizeof base, "\"@method\": %s\n\"@path\": %s\n\"content-digest\": sha-256=:%s:\n", r.method, r.path,
                   digest);
  if (r.ticket != nullptr) {
    n += snprintf(base + n, sizeof base - static_cast<size_t>(n), "\"tank-ticket\": :%s:\n", ticket_text);
  }
  snprintf(base + n, sizeof base - static_cast<size_t>(n), "\"@signature-params\": %s", params);
  hmac(r.key, base, mac);
  base64(mac, 32, signature);
  char *at = to;
  char *const end = to + room;
  auto left = [&] { return static_cast<size_t>(end - at); };
  at += snprintf(at, left(), "%s %s HTTP/1.1\r\nHost: node\r\nContent-Digest: sha-256=:%s:\r\n", r.method, r.path, digest);
  if (r.ticket != nullptr) at += snprintf(at, left(), "Tank-Ticket: :%s:\r\n", ticket_text);
  if (r.has_length) at += snprintf(at, left(), "Content-Length: %zu\r\n", r.length);
  at += snprintf(at, left(), "Signature-Input: tank=%s\r\nSignature: tank=:%s:\r\n%s\r\n", params, signature,
                 r.more == nullptr ? "" : r.more);
  return static_cast<size_t>(at - to);
}

}  // namespace sign

#endif
