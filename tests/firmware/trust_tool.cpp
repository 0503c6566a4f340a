// Lets a test ask the firmware's trust code line by line: a command and hex arguments in (`-`: absent or empty), one answer out.
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/base64.h"
#include "core/cbor.h"
#include "core/crc32.h"
#include "core/hkdf.h"
#include "core/signature.h"
#include "core/structured.h"
#include "core/ticket.h"
#ifdef TN_TEST_MBEDTLS
#include "ports/esp32/crypto_mbedtls.h"
extern "C" void esp_fill_random(void *to, size_t n) { memset(to, 0xA5, n); }
#else
#include "ports/host/crypto_bearssl.h"
#endif

namespace {

constexpr size_t kMostArguments = 12;

struct Bytes {
  uint8_t *at;  // of its own, exactly as long as its content, so that the sanitizer sees any step beyond
  size_t n;
  bool given;
};

Bytes arguments[kMostArguments];
size_t argument_count = 0;
tn::NodeBlock block;

int digit(char c) { return c >= 'a' ? c - 'a' + 10 : c - '0'; }

Bytes bytes_of(const char *hex) {
  Bytes bytes = {nullptr, 0, strcmp(hex, "-") != 0};
  if (bytes.given) bytes.n = strlen(hex) / 2;
  bytes.at = static_cast<uint8_t *>(malloc(bytes.n > 0 ? bytes.n : 1));
  for (size_t i = 0; i < bytes.n; ++i) bytes.at[i] = static_cast<uint8_t>(digit(hex[2 * i]) << 4 | digit(hex[2 * i + 1]));
  return bytes;
}

tn::Slice text(size_t i) {
  const Bytes &bytes = arguments[i];
  return bytes.given ? tn::Slice{reinterpret_cast<const char *>(bytes.at), bytes.n} : tn::Slice{nullptr, 0};
}

uint64_t number(size_t i) {
  uint64_t value = 0;
  for (size_t k = 0; k < arguments[i].n; ++k) value = value << 8 | arguments[i].at[k];
  return value;
}

void say_hex(const uint8_t *bytes, size_t n) {
  for (size_t i = 0; i < n; ++i) printf("%02x", bytes[i]);
  printf("\n");
}

#ifdef TN_TEST_MBEDTLS
const tn::Crypto &crypto() { return *tn::mbedtls_crypto(); }
#else
const tn::Crypto &crypto() { return *tn::bearssl_crypto(); }
#endif

void say_sha256() {
  tn::Sha256 sha;
  uint8_t digest[32];
  crypto().sha256_begin(&sha);
  crypto().sha256_add(&sha, arguments[0].at, arguments[0].n);
  crypto().sha256_end(&sha, digest);
  say_hex(digest, sizeof digest);
}

void say_hmac() {
  uint8_t mac[32];
  tn::Hmac hmac;
  const size_t half = arguments[1].n / 2;  // in two pieces
  crypto().hmac_begin(&hmac, arguments[0].at, arguments[0].n);
  crypto().hmac_add(&hmac, arguments[1].at, half);
  crypto().hmac_add(&hmac, arguments[1].at + half, arguments[1].n - half);
  crypto().hmac_end(&hmac, mac);
  say_hex(mac, sizeof mac);
}

// key, salt, info, length; the info in two parts
void say_hkdf() {
  static uint8_t out[255 * 32 + 1];
  const size_t n = static_cast<size_t>(number(3)), half = text(2).n / 3;
  const tn::Slice first = {text(2).at, half}, rest = {text(2).at + half, text(2).n - half};
  if (tn::hkdf_sha256(crypto(), text(0), text(1), first, rest, out, n)) say_hex(out, n);
  else printf("refused\n");
}

// key, initialization vector, additional data, sealed data, tag: what was sealed, or `refused`, and then nothing of it is left
void say_opened() {
  Bytes &data = arguments[3];
  if (crypto().aes256_gcm_open(arguments[0].at, arguments[1].at, arguments[2].at, arguments[2].n, data.at, data.n,
                               arguments[4].at) == tn::Verified::kGood) {
    return say_hex(data.at, data.n);
  }
  bool wiped = true;
  for (size_t i = 0; i < data.n; ++i) wiped = wiped && data.at[i] == 0;
  printf("%s\n", wiped ? "refused" : "refused, but not wiped");
}

void say_cose() {
  uint8_t digest[32];
  tn::cose_digest(crypto(), arguments[0].at, arguments[0].n, arguments[1].at, arguments[1].n, digest);
  say_hex(digest, sizeof digest);
}

// node, vendor id, class id, signing point, key id, payload format
void set_block() {
  memset(&block, 0, sizeof block);
  memcpy(block.node, arguments[0].at, arguments[0].n);
  memcpy(block.vendor_id, arguments[1].at, 16);
  memcpy(block.class_id, arguments[2].at, 16);
  memcpy(block.signing_key, arguments[3].at, 65);
  memcpy(block.key_id, arguments[4].at, 8);
  block.payload_format = arguments[5].at[0];
  printf("ok\n");
}

// ticket, floor
void say_ticket() {
  tn::Ticket ticket;
  const tn::Code code = tn::check_ticket(arguments[0].at, arguments[0].n, block, number(1), crypto(), &ticket);
  if (code != tn::Code::kOk) {
    printf("%u %s\n", tn::status_of(code), tn::text_of(code));
    return;
  }
  printf("200 ok %llu %s %s %u %s ", static_cast<unsigned long long>(ticket.sequence), ticket.node, ticket.format,
         ticket.size_bytes, ticket.release);
  say_hex(ticket.sha256, 32);
}

// One item of the kind named by its first letter, then nothing: u unsigned, i integer, b bytes, t text, a array head, m map head, g tag.
void say_cbor() {
  tn::Cbor c = tn::cbor_over(arguments[1].at, arguments[1].n);
  size_t n = 0;
  switch (arguments[0].at[0]) {
    case 'u': printf("%llu ", static_cast<unsigned long long>(tn::cbor_unsigned(&c))); break;
    case 'i': printf("%lld ", static_cast<long long>(tn::cbor_integer(&c))); break;
    case 'b': tn::cbor_bytes(&c, &n); printf("%zu ", n); break;
    case 't': tn::cbor_text(&c, &n); printf("%zu ", n); break;
    case 'a': printf("%zu ", tn::cbor_array(&c)); break;
    case 'm': printf("%zu ", tn::cbor_map(&c)); break;
    default: printf("%llu ", static_cast<unsigned long long>(tn::cbor_tag(&c))); break;
  }
  printf("%s\n", !c.ok ? "refused" : tn::cbor_done(&c) ? "done" : "more");
}

void say_decoded(bool url) {
  uint8_t to[600];
  size_t n = 0;
  const bool good = url ? tn::base64url_decode(text(0), to, sizeof to, &n) : tn::base64_decode(text(0), to, sizeof to, &n);
  if (good) say_hex(to, n);
  else printf("refused\n");
}

void say_encoded(bool url) {
  char to[800];
  const size_t n = url ? tn::base64url_encode(arguments[0].at, arguments[0].n, to, sizeof to)
                       : tn::base64_encode(arguments[0].at, arguments[0].n, to, sizeof to);
  printf("%.*s\n", static_cast<int>(n), to);
}

// key, params, then pairs of component and value: the base and its HMAC
void say_base() {
  tn::SignatureBase base;
  tn::base_begin(&base, crypto(), arguments[0].at, arguments[0].n);
  for (size_t i = 2; i + 1 < argument_count; i += 2) tn::base_line(&base, text(i), text(i + 1));
  uint8_t mac[32];
  tn::base_end(&base, text(1), mac);
  say_hex(mac, sizeof mac);
}

// key, node, nonce, method, path, content-digest, tank-ticket, signature-input, signature
void say_request() {
  uint8_t digest[32];
  const tn::SignedRequest request = {text(3), text(4), text(5), text(6), text(7), text(8)};
  const tn::Code code = tn::verify_request(request, text(1), arguments[0].at, text(2), crypto(), digest);
  printf("%u %s\n", tn::status_of(code), tn::text_of(code));
}

// key, node, status, method, path, body digest, accept-signature: the header lines in hex, `unsigned`, or a refusal
void say_answer() {
  char lines[tn::kSignedHeaderBytes];
  tn::AnswerWish wish;
  const tn::Code code = tn::parse_accept_signature(text(6), &wish);
  if (code != tn::Code::kOk || !wish.wanted) {
    printf("%s\n", code == tn::Code::kOk ? "unsigned" : tn::text_of(code));
    return;
  }
  const size_t n = tn::sign_answer(wish, static_cast<uint16_t>(number(2)), text(3), text(4), arguments[5].at, text(1),
                                   arguments[0].at, crypto(), lines, sizeof lines);
  say_hex(reinterpret_cast<const uint8_t *>(lines), n);
}

// key, dictionary: its raw value, `none` or `refused`
void say_member() {
  char key[64] = {};
  memcpy(key, arguments[0].at, arguments[0].n);
  tn::FieldItem item;
  const tn::FieldNext found = tn::find_member(text(1), key, &item);
  if (found == tn::FieldNext::kItem) printf("%.*s\n", static_cast<int>(item.whole.n), item.whole.n > 0 ? item.whole.at : "");
  else printf("%s\n", found == tn::FieldNext::kEnd ? "none" : "refused");
}

void say_byte_sequence() {
  uint8_t to[tn::kTicketBytes];
  size_t n = 0;
  if (tn::parse_byte_sequence(text(0), to, sizeof to, &n)) say_hex(to, n);
  else printf("refused\n");
}

void say_content_digest() {
  uint8_t digest[32];
  if (tn::parse_content_digest(text(0), digest)) say_hex(digest, sizeof digest);
  else printf("refused\n");
}

void say_nonce() {
  char nonce[tn::kNonceChars + 1];
  tn::nonce_from(arguments[0].at, nonce);
  printf("%s\n", nonce);
}

void answer(const char *command) {
  if (strcmp(command, "sha256") == 0) say_sha256();
  else if (strcmp(command, "hmac") == 0) say_hmac();
  else if (strcmp(command, "hkdf") == 0) say_hkdf();
  else if (strcmp(command, "open") == 0) say_opened();
  else if (strcmp(command, "es256") == 0)
    printf("%s\n", crypto().es256_verify(arguments[0].at, arguments[1].at, arguments[2].at) == tn::Verified::kGood ? "good" : "bad");
  else if (strcmp(command, "cose") == 0) say_cose();
  else if (strcmp(command, "block") == 0) set_block();
  else if (strcmp(command, "ticket") == 0) say_ticket();
  else if (strcmp(command, "cbor") == 0) say_cbor();
  else if (strcmp(command, "decode") == 0) say_decoded(false);
  else if (strcmp(command, "decode-url") == 0) say_decoded(true);
  else if (strcmp(command, "encode") == 0) say_encoded(false);
  else if (strcmp(command, "encode-url") == 0) say_encoded(true);
  else if (strcmp(command, "base") == 0) say_base();
  else if (strcmp(command, "request") == 0) say_request();
  else if (strcmp(command, "answer") == 0) say_answer();
  else if (strcmp(command, "member") == 0) say_member();
  else if (strcmp(command, "byte-sequence") == 0) say_byte_sequence();
  else if (strcmp(command, "content-digest") == 0) say_content_digest();
  else if (strcmp(command, "nonce") == 0) say_nonce();
  else exit(2);
}

}  // namespace

int main() {
  static char line[1 << 22];  // the longest: a million bytes in hex
  while (fgets(line, sizeof line, stdin) != nullptr) {
    line[strcspn(line, "\n")] = '\0';
    const char *const command = strtok(line, " ");
    argument_count = 0;
    for (const char *word = strtok(nullptr, " "); word != nullptr && argument_count < kMostArguments; word = strtok(nullptr, " "))
      arguments[argument_count++] = bytes_of(word);
    answer(command);
    for (size_t i = 0; i < argument_count; ++i) free(arguments[i].at);
  }
  return 0;
}
