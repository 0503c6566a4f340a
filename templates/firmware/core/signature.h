// HTTP message signatures of the node's interface (RFC 9421 hmac-sha256, RFC 9530 Content-Digest; docs section 3).
#ifndef TN_SIGNATURE_H
#define TN_SIGNATURE_H

#include "limits.h"
#include "port.h"
#include "refusal.h"
#include "slice.h"

namespace tn {

constexpr size_t kNodeKeyBytes = 32;
constexpr size_t kNonceChars = 22;       // 16 random bytes, base64url
constexpr size_t kWishNonceChars = 64;   // the longest nonce that an asker may choose
constexpr size_t kSignedHeaderBytes = 512;    // room that sign_answer() never exceeds

// A signature base (RFC 9421 section 2.5), hashed as it is made: it lies nowhere as a whole. Lines, then the parameters.
struct SignatureBase {
  const Crypto *crypto;
  Hmac hmac;
};
void base_begin(SignatureBase *base, const Crypto &crypto, const uint8_t *key, size_t key_n);
void base_line(SignatureBase *base, Slice component, Slice value);  // component: `"@method"` with its quotes and parameters
// params: everything after `label=`. False: no memory for the MAC.
bool base_end(SignatureBase *base, Slice params, uint8_t mac[32]);
bool same_secret(const uint8_t *a, const uint8_t *b, size_t n);     // constant time

// Values of the headers as received (without leading or trailing blanks); `at` null where the request had none.
struct SignedRequest {
  Slice method;
  Slice path;  // without query; the interface has none
  Slice content_digest;
  Slice tank_ticket;  // covered exactly by PUT /v1/image
  Slice signature_input;
  Slice signature;
};

// kNoSignature, kBadRequest (a structured field that cannot be read), kBadSignature, kNoMemory, kNonceUsed, kOk. On kOk and kNonceUsed the
// signature was good, so the nonce is to be changed on kOk, and `body_sha256` is what Content-Digest promises.
Code verify_request(const SignedRequest &request, Slice node, const uint8_t key[kNodeKeyBytes], Slice nonce,
                    const Crypto &crypto, uint8_t body_sha256[32]);

// `sha-256=:...:`; other algorithms beside it are skipped. False when malformed or without sha-256.
bool parse_content_digest(Slice value, uint8_t sha256[32]);
// `:BASE64:` of the Tank-Ticket header. False when malformed, empty or longer than `room`.
bool parse_byte_sequence(Slice value, uint8_t *to, size_t room, size_t *n);

// What Accept-Signature asks for. Absent header: not wanted, kOk. Malformed, or no acceptable nonce: kBadRequest.
struct AnswerWish {
  bool wanted;
  char nonce[kWishNonceChars + 1];
};
Code parse_accept_signature(Slice value, AnswerWish *to);

// Writes `Content-Digest`, `Signature-Input` and `Signature` header lines, each ended by CRLF. Bytes written, 0 when there is
// no room, or no memory for the MAC.
size_t sign_answer(const AnswerWish &wish, uint16_t status, Slice method, Slice path, const uint8_t body_sha256[32],
                   Slice node, const uint8_t key[kNodeKeyBytes], const Crypto &crypto, char *to, size_t room);

// A fresh nonce from 16 random bytes; `to` gets kNonceChars and a NUL.
void nonce_from(const uint8_t random[16], char to[kNonceChars + 1]);

}  // namespace tn

#endif
