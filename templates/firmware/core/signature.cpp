#include "signature.h"

#include "base64.h"
#include "structured.h"
#include "text.h"

namespace tn {

namespace {

constexpr char kLabel[] = "tank";
constexpr char kAlgorithm[] = "hmac-sha256";
constexpr char kCovers[] = "(\"@method\" \"@path\" \"content-digest\")";
constexpr char kCoversTicket[] = "(\"@method\" \"@path\" \"content-digest\" \"tank-ticket\")";
constexpr char kCoversAnswer[] = "(\"@status\" \"content-digest\" \"@method\";req \"@path\";req)";

void add(SignatureBase *base, Slice text) {
  if (text.n > 0) base->crypto->hmac_add(&base->hmac, text.at, text.n);
}

void put_base64(Text *to, const uint8_t bytes[32]) {
  char text[base64_chars(32)];
  put_n(to, text, base64_encode(bytes, 32, text, sizeof text));
}

bool decode_exactly(Slice text, uint8_t *to, size_t n) {
  size_t got = 0;
  return base64_decode(text, to, n, &got) && got == n;
}

struct Params {
  Slice nonce;
  Slice key_id;
  Slice algorithm;
  bool acceptable;  // exactly these three, once each; `created` may stand beside them (a node has no clock to judge it by)
};

bool read_params(Slice raw, Params *to) {
  *to = Params{{nullptr, 0}, {nullptr, 0}, {nullptr, 0}, true};
  Field f = field_over(raw);
  for (;;) {
    FieldItem item;
    const FieldNext next = next_param(&f, &item);
    if (next == FieldNext::kBad) return false;
    if (next == FieldNext::kEnd) break;
    Slice *const into = same(item.key, slice("nonce")) ? &to->nonce
                        : same(item.key, slice("keyid")) ? &to->key_id
                        : same(item.key, slice("alg"))   ? &to->algorithm
                                                         : nullptr;
    if (into == nullptr) {
      if (!same(item.key, slice("created")) || item.kind != FieldKind::kNumber) to->acceptable = false;
      continue;
    }
    if (into->at != nullptr || item.kind != FieldKind::kString) to->acceptable = false;
    *into = item.value;
  }
  if (to->nonce.at == nullptr || to->key_id.at == nullptr || to->algorithm.at == nullptr) to->acceptable = false;
  return true;
}

bool has_ticket(const SignedRequest &request) {
  return same(request.method, slice("PUT")) && same(request.path, slice("/v1/image"));
}

bool mac_of_request(const SignedRequest &request, Slice params, const Crypto &crypto, const uint8_t key[kNodeKeyBytes],
                    uint8_t mac[32]) {
  SignatureBase base;
  base_begin(&base, crypto, key, kNodeKeyBytes);
  base_line(&base, slice("\"@method\""), request.method);
  base_line(&base, slice("\"@path\""), request.path);
  base_line(&base, slice("\"content-digest\""), request.content_digest);
  if (has_ticket(request)) base_line(&base, slice("\"tank-ticket\""), request.tank_ticket);
  return base_end(&base, params, mac);
}

bool nonce_char(char c) {
  return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || c == '-' || c == '_';
}

bool take_wish_nonce(const FieldItem &item, AnswerWish *to) {
  if (item.kind != FieldKind::kString || item.value.n < kNonceChars || item.value.n > kWishNonceChars) return false;
  for (size_t i = 0; i < item.value.n; ++i)
    if (!nonce_char(item.value.at[i])) return false;
  memcpy(to->nonce, item.value.at, item.value.n);
  to->nonce[item.value.n] = '\0';
  return true;
}

void put_answer_params(const AnswerWish &wish, Slice node, Text *to) {
  put(to, kCoversAnswer);
  put(to, ";nonce=\"");
  put(to, wish.nonce);
  put(to, "\";keyid=\"");
  put_n(to, node.at, node.n);
  put(to, "\";alg=\"");
  put(to, kAlgorithm);
  put(to, "\"");
}

}  // namespace

void base_begin(SignatureBase *base, const Crypto &crypto, const uint8_t *key, size_t key_n) {
  base->crypto = &crypto;
  crypto.hmac_begin(&base->hmac, key, key_n);
}

void base_line(SignatureBase *base, Slice component, Slice value) {
  add(base, component);
  add(base, slice(": "));
  add(base, value);
  add(base, slice("\n"));
}

bool base_end(SignatureBase *base, Slice params, uint8_t mac[32]) {
  add(base, slice("\"@signature-params\": "));
  add(base, params);
  return base->crypto->hmac_end(&base->hmac, mac);
}

bool same_secret(const uint8_t *a, const uint8_t *b, size_t n) {
  volatile uint8_t differs = 0;  // volatile: no early way out may be made of this loop
  for (size_t i = 0; i < n; ++i) differs = static_cast<uint8_t>(differs | (a[i] ^ b[i]));
  return differs == 0;
}

Code verify_request(const SignedRequest &request, Slice node, const uint8_t key[kNodeKeyBytes], Slice nonce,
                    const Crypto &crypto, uint8_t body_sha256[32]) {
  if (request.signature_input.at == nullptr || request.signature.at == nullptr) return Code::kNoSignature;
  FieldItem input, signature;
  Params params;
  const FieldNext has_input = find_member(request.signature_input, kLabel, &input);
  const FieldNext has_signature = find_member(request.signature, kLabel, &signature);
  if (has_input == FieldNext::kBad || has_signature == FieldNext::kBad) return Code::kBadRequest;
  if (has_input == FieldNext::kEnd || has_signature == FieldNext::kEnd) return Code::kBadSignature;
  if (!read_params(input.params, &params)) return Code::kBadRequest;
  if (request.content_digest.at == nullptr) return Code::kBadSignature;
  if (!parse_content_digest(request.content_digest, body_sha256)) return Code::kBadRequest;

  const Slice covers = slice(has_ticket(request) ? kCoversTicket : kCovers);
  if (input.kind != FieldKind::kInnerList || !same(input.value, covers) || !params.acceptable) return Code::kBadSignature;
  if (!same(params.key_id, node) || !same(params.algorithm, slice(kAlgorithm))) return Code::kBadSignature;
  if (has_ticket(request) && request.tank_ticket.at == nullptr) return Code::kBadSignature;

  uint8_t given[32], right[32];
  if (signature.kind != FieldKind::kBytes || !decode_exactly(signature.value, given, sizeof given)) return Code::kBadSignature;
  if (!mac_of_request(request, input.whole, crypto, key, right)) return Code::kNoMemory;
  if (!same_secret(given, right, sizeof right)) return Code::kBadSignature;
  return same(params.nonce, nonce) ? Code::kOk : Code::kNonceUsed;
}

bool parse_content_digest(Slice value, uint8_t sha256[32]) {
  FieldItem item;
  return find_member(value, "sha-256", &item) == FieldNext::kItem && item.kind == FieldKind::kBytes &&
         decode_exactly(item.value, sha256, 32);
}

bool parse_byte_sequence(Slice value, uint8_t *to, size_t room, size_t *n) {
  FieldItem item;
  *n = 0;
  return bare_bytes(value, &item) && base64_decode(item.value, to, room, n) && *n > 0;
}

Code parse_accept_signature(Slice value, AnswerWish *to) {
  *to = AnswerWish{};
  if (value.at == nullptr) return Code::kOk;
  FieldItem item;
  const FieldNext found = find_member(value, kLabel, &item);
  if (found == FieldNext::kBad || (found == FieldNext::kItem && item.kind != FieldKind::kInnerList)) return Code::kBadRequest;
  if (found == FieldNext::kEnd) return Code::kOk;
  Field params = field_over(item.params);
  for (;;) {
    FieldItem param;
    const FieldNext next = next_param(&params, &param);
    if (next != FieldNext::kItem) break;
    if (same(param.key, slice("nonce"))) to->wanted = take_wish_nonce(param, to);
  }
  return to->wanted ? Code::kOk : Code::kBadRequest;
}

size_t sign_answer(const AnswerWish &wish, uint16_t status, Slice method, Slice path, const uint8_t body_sha256[32],
                   Slice node, const uint8_t key[kNodeKeyBytes], const Crypto &crypto, char *to, size_t room) {
  const char digits[3] = {static_cast<char>('0' + status / 100 % 10), static_cast<char>('0' + status / 10 % 10),
                          static_cast<char>('0' + status % 10)};
  Text out = text_into(to, room);
  put(&out, "Content-Digest: ");
  const size_t digest_at = out.n;
  put(&out, "sha-256=:");
  put_base64(&out, body_sha256);
  put(&out, ":");
  const Slice digest = Slice{to + digest_at, out.n - digest_at};
  put(&out, "\r\nSignature-Input: tank=");
  const size_t params_at = out.n;
  put_answer_params(wish, node, &out);
  const Slice params = Slice{to + params_at, out.n - params_at};
  put(&out, "\r\nSignature: tank=:");
  if (out.over) return 0;

  SignatureBase base;
  uint8_t mac[32];
  base_begin(&base, crypto, key, kNodeKeyBytes);
  base_line(&base, slice("\"@status\""), Slice{digits, sizeof digits});
  base_line(&base, slice("\"content-digest\""), digest);
  base_line(&base, slice("\"@method\";req"), method);
  base_line(&base, slice("\"@path\";req"), path);
  if (!base_end(&base, params, mac)) return 0;
  put_base64(&out, mac);
  put(&out, ":\r\n");
  return out.over ? 0 : out.n;
}

void nonce_from(const uint8_t random[16], char to[kNonceChars + 1]) {
  const size_t n = base64url_encode(random, 16, to, kNonceChars);
  to[n] = '\0';
}

}  // namespace tn
