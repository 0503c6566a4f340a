// The reader of request signatures, and that of the body of PUT /v1/network. The bytes after the first are lines: method, path,
// Content-Digest, Tank-Ticket, Signature-Input, Signature, Accept-Signature; a line that is missing is an absent header; what comes
// after them is the body. With bit 0 of the first byte the signature is made good by the base that the reader itself hashed; with
// bit 1 the body is sealed first; with bit 2 one bit of the sealed body is then flipped.
// What is accepted must have signed exactly the base that is written here from the lines; without the key nothing is accepted.
#include "core/base64.h"
#include "core/http.h"
#include "core/signature.h"
#include "core/structured.h"
#include "firmware/seal_helper.h"
#include "firmware/sign_helper.h"
#include "fuzz.h"

namespace {

enum Line { kMethod, kPath, kDigest, kTicket, kInput, kSignature, kAccept, kLines };
constexpr char kNode[] = "upper-barn";
constexpr char kNonce[] = "AAECAwQFBgcICQoLDA0ODw";
constexpr uint8_t kKey[32] = {0x5A, 1, 2, 3};

constexpr size_t kBaseBytes = 2 * tn::kHeadBytes;  // no base is as long

char last_base[kBaseBytes];
size_t last_base_n;
uint8_t last_mac[32];
bool hashed;

void keep_begin(tn::Hmac *h, const uint8_t *key, size_t key_n) {
  MUST(key_n == sizeof kKey);
  last_base_n = 0;
  tn::bearssl_crypto()->hmac_begin(h, key, key_n);
}

void keep_add(tn::Hmac *h, const void *data, size_t n) {
  MUST(last_base_n + n <= sizeof last_base);
  memcpy(last_base + last_base_n, data, n);
  last_base_n += n;
  tn::bearssl_crypto()->hmac_add(h, data, n);
}

bool keep_end(tn::Hmac *h, uint8_t out[32]) {
  hashed = true;
  tn::bearssl_crypto()->hmac_end(h, out);
  memcpy(last_mac, out, 32);
  return true;
}

struct Lines {
  Own *own[kLines];
  tn::Slice at(int i) const {
    return own[i] == nullptr ? tn::Slice{nullptr, 0} : tn::Slice{reinterpret_cast<const char *>(own[i]->at), own[i]->n};
  }
};

void put(char *to, size_t *n, tn::Slice text) {
  MUST(*n + text.n <= kBaseBytes);
  if (text.n > 0) memcpy(to + *n, text.at, text.n);
  *n += text.n;
}

// The base after RFC 9421 section 2.5, from the lines alone; `params` is what stands after `tank=` in Signature-Input.
void check_base(const Lines &lines, const char *base, size_t base_n) {
  static char text[kBaseBytes];
  size_t n = 0;
  const bool is_image = tn::same(lines.at(kMethod), tn::slice("PUT")) && tn::same(lines.at(kPath), tn::slice("/v1/image"));
  const char *const names[] = {"\"@method\": ", "\"@path\": ", "\"content-digest\": ", "\"tank-ticket\": "};
  for (int i = kMethod; i <= (is_image ? kTicket : kDigest); ++i) {
    put(text, &n, tn::slice(names[i]));
    put(text, &n, lines.at(i));
    put(text, &n, tn::slice("\n"));
  }
  put(text, &n, tn::slice("\"@signature-params\": (\"@method\" \"@path\" \"content-digest\""));
  put(text, &n, tn::slice(is_image ? " \"tank-ticket\");" : ");"));
  MUST(base_n >= n && memcmp(base, text, n) == 0);
  // The rest is the parameters as received: they stand in the header, right there.
  const tn::Slice received = lines.at(kInput);
  const size_t rest = base_n - n;
  bool found = false;
  for (size_t i = 0; i + rest <= received.n && !found; ++i) found = memcmp(received.at + i, base + n, rest) == 0;
  MUST(found);
}

bool holds(const char *text, size_t n, const char *what) {
  const size_t m = strlen(what);
  for (size_t i = 0; i + m <= n; ++i)
    if (memcmp(text + i, what, m) == 0) return true;
  return false;
}

tn::Code verify(const Lines &lines, tn::Slice signature, tn::Slice nonce, uint8_t digest[32]) {
  tn::Crypto crypto = fuzz_crypto();
  crypto.hmac_begin = keep_begin;
  crypto.hmac_add = keep_add;
  crypto.hmac_end = keep_end;
  const tn::SignedRequest request = {lines.at(kMethod), lines.at(kPath),  lines.at(kDigest),
                                     lines.at(kTicket), lines.at(kInput), signature};
  hashed = false;
  return tn::verify_request(request, tn::slice(kNode), kKey, nonce, crypto, digest);
}

void try_request(const Lines &lines, bool signs) {
  uint8_t digest[32] = {};
  tn::Code code = verify(lines, lines.at(kSignature), tn::slice(kNonce), digest);
  MUST(code != tn::Code::kOk && code != tn::Code::kNonceUsed);  // nobody here knows the key
  if (!hashed) return;
  check_base(lines, last_base, last_base_n);
  if (!signs) return;
  char text[64] = "tank=:", mac[48];
  sign::base64(last_mac, 32, mac);
  strcat(strcat(text, mac), ":");
  code = verify(lines, tn::slice(text), tn::slice(kNonce), digest);
  MUST(code == tn::Code::kOk || code == tn::Code::kNonceUsed);
  if (code == tn::Code::kOk) MUST(holds(last_base, last_base_n, kNonce));
  MUST(holds(last_base, last_base_n, "keyid=\"upper-barn\"") && holds(last_base, last_base_n, "alg=\"hmac-sha256\""));
  uint8_t again[32];
  MUST(tn::parse_content_digest(lines.at(kDigest), again) && memcmp(again, digest, 32) == 0);
  text[10] = text[10] == 'A' ? 'B' : 'A';
  MUST(verify(lines, tn::slice(text), tn::slice(kNonce), digest) == tn::Code::kBadSignature);
}

void try_fields(const Lines &lines) {
  uint8_t ticket[512];
  size_t n = 0;
  if (tn::parse_byte_sequence(lines.at(kTicket), ticket, sizeof ticket, &n)) {
    MUST(n > 0 && n <= sizeof ticket && lines.at(kTicket).n == tn::base64_chars(n) + 2);
    char text[tn::base64_chars(512) + 1];
    sign::base64(ticket, n, text);  // only the one form of RFC 4648 is taken
    MUST(memcmp(text, lines.at(kTicket).at + 1, tn::base64_chars(n)) == 0);
  }
  tn::AnswerWish wish;
  if (tn::parse_accept_signature(lines.at(kAccept), &wish) != tn::Code::kOk || !wish.wanted) return;
  MUST(strlen(wish.nonce) >= tn::kNonceChars && strlen(wish.nonce) <= tn::kWishNonceChars);
  MUST(strspn(wish.nonce, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") == strlen(wish.nonce));
  const tn::Slice method = {"PUT", 3}, path = lines.at(kPath);
  if (path.at == nullptr || path.n > 64) return;
  char *const to = static_cast<char *>(malloc(tn::kSignedHeaderBytes));
  n = tn::sign_answer(wish, 200, method, path, kKey, tn::slice(kNode), kKey, fuzz_crypto(), to, tn::kSignedHeaderBytes);
  MUST(n > 0 && n <= tn::kSignedHeaderBytes && holds(to, n, wish.nonce));
  free(to);
}

// The text that says the same in its only form; false: no text can say it.
bool can_be(const sealed::Text &text) {
  char name[tn::kNetworkNameBytes + 1] = {}, passphrase[tn::kPassphraseBytes + 1] = {};
  memcpy(name, text.at, tn::kNetworkNameBytes);
  memcpy(passphrase, text.at + tn::kNetworkNameBytes, tn::kPassphraseBytes);
  const size_t n = strlen(passphrase);
  const unsigned trial_s = text.at[97] + 256u * text.at[98];
  if (name[0] == '\0' || strlen(name) > 32 || n > 63 || (n > 0 && n < 8) || trial_s < 60) return false;
  for (size_t i = 0; i < n; ++i)
    if (passphrase[i] < ' ' || passphrase[i] > '~') return false;
  const sealed::Text same = sealed::text_of(name, passphrase, trial_s);
  return memcmp(&same, &text, sizeof same) == 0;
}

void try_body(Input input, uint8_t how) {
  sealed::Text text = {};
  sealed::Body body = {};
  const bool seals = (how & 2u) != 0, flips = (how & 4u) != 0;
  if (seals) {
    const size_t bit = flips ? (input.byte() + 256u * input.byte()) % (8 * sizeof body) : 0;
    memcpy(text.at, input.at, input.left < sizeof text ? input.left : sizeof text);
    body = sealed::body_of(text, kKey, kNode, static_cast<unsigned char>(how));
    if (flips) body.at[bit / 8] = static_cast<unsigned char>(body.at[bit / 8] ^ 1u << bit % 8);
  } else {
    memcpy(body.at, input.at, input.left < sizeof body ? input.left : sizeof body);
  }
  Own own(body.at, sizeof body.at);
  tn::NewNetwork got;
  const tn::Code code = tn::open_network_body(fuzz_crypto(), kKey, tn::slice(kNode), own.at, &got);
  MUST(code == (seals && !flips && can_be(text) ? tn::Code::kOk : tn::Code::kBadCredentials));
  for (size_t i = 0; i < own.n; ++i) MUST(own.at[i] == 0);  // nothing of it is left
  if (code != tn::Code::kOk) return;
  MUST(memcmp(got.network.name, text.at, tn::kNetworkNameBytes) == 0 && got.trial_s == text.at[97] + 256u * text.at[98]);
  MUST(memcmp(got.network.passphrase, text.at + tn::kNetworkNameBytes, tn::kPassphraseBytes) == 0);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n) {
  Input input = {data, n};
  const uint8_t how = input.byte();
  if (input.left > tn::kHeadBytes) return 0;  // the lines come from one head, the body is short
  Lines lines = {};
  for (int i = 0; i < kLines && input.left > 0; ++i) {
    const void *end = memchr(input.at, '\n', input.left);
    const size_t line_n = end == nullptr ? input.left : static_cast<size_t>(static_cast<const uint8_t *>(end) - input.at);
    if (line_n > 0) lines.own[i] = new Own(input.at, line_n);
    const size_t step = end == nullptr ? line_n : line_n + 1;
    input.at += step;
    input.left -= step;
  }
  if (lines.own[kMethod] != nullptr && lines.own[kPath] != nullptr) try_request(lines, (how & 1u) != 0);
  try_fields(lines);
  if (input.left > 0) try_body(input, how);
  for (Own *own : lines.own) delete own;
  return 0;
}
