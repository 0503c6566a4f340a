// Counts instructions and stack: passes of the control loop, a digest, a signature. One figure a line: name and number.
// To be run with -icount shift=0, under which the emulator's counters go by instructions alone.
#include <stdio.h>
#include <string.h>

#include "core/control.h"
#include "core/node.h"
#include "measure.h"
#include "ports/host/crypto_bearssl.h"
#include "sample_block.h"

namespace {

constexpr uint32_t kPasses = 1000;
constexpr uint32_t kLoop = 1000000;

void say(const char *name, uint64_t number) { printf("%s %lu\n", name, static_cast<unsigned long>(number)); }

// Instructions for one count: from a loop whose instructions are known.
uint64_t instructions_per_count() {
  const uint32_t before = tn_count();
  tn_loop(kLoop);
  const uint32_t counts = tn_count() - before;
  return (2ull * kLoop + counts / 2) / counts;
}
uint64_t instructions(uint32_t counts) { return counts * instructions_per_count(); }

// ---------------------------------------------------------------- control
struct World {
  tn::NodeBlock block;
  tn::Port port;
  tn::Control control;
  uint64_t at_ms;
};
World w;
bool low;  // what every probe reads
PaintedStack control_stack;

bool probe_is_low(void *, uint8_t, uint8_t) { return low; }
void relay(void *, uint8_t, bool) {}
uint64_t process_ms(void *) { return w.at_ms; }
void begin_control(void *) { tn::control_begin(&w.control, &w.block, &w.port); }
void one_step(void *) { tn::control_step(&w.control, false); }
void many_passes(void *) {
  for (uint32_t i = 0; i < kPasses; ++i) {
    w.at_ms += w.block.sample_period_ms;
    low = i / 100 % 2 == 0;  // the probes change, settle, and change back
    tn::control_step(&w.control, false);
  }
}

// Each pass samples every probe and decides every pump.
uint64_t pass_instructions(const tn::NodeBlock &block) {
  w.block = block;
  w.at_ms = 1000;
  w.port.probe_is_low = probe_is_low;
  w.port.relay = relay;
  w.port.process_ms = w.port.now_ms = process_ms;
  control_stack.run(begin_control, nullptr);
  const uint32_t before = tn_count();
  many_passes(nullptr);
  const uint32_t counts = tn_count() - before;
  for (int i = 0; i < 100; ++i) {
    w.at_ms += 1000;
    low = i / 10 % 2 == 0;
    control_stack.run(one_step, nullptr);
  }
  return instructions(counts) / kPasses;
}

// ---------------------------------------------------------------- trust
uint8_t data[65536];

uint64_t sha256_instructions() {
  const tn::Crypto &crypto = *tn::bearssl_crypto();
  tn::Sha256 sha;
  uint8_t digest[32];
  const uint32_t before = tn_count();
  crypto.sha256_begin(&sha);
  crypto.sha256_add(&sha, data, sizeof data);
  crypto.sha256_end(&sha, digest);
  return instructions(tn_count() - before);
}

// RFC 6979 A.2.5: the public key, SHA-256("sample") and the signature over it.
int digit(char c) { return c <= '9' ? c - '0' : (c | 32) - 'a' + 10; }
void from_hex(const char *hex, uint8_t *to) {
  for (; *hex != '\0'; hex += 2) *to++ = static_cast<uint8_t>(digit(hex[0]) << 4 | digit(hex[1]));
}
uint64_t es256_instructions(bool *good) {
  static uint8_t point[65], digest[32], signature[64];
  from_hex(
      "0460FED4BA255A9D31C961EB74C6356D68C049B8923B61FA6CE669622E60F29FB6"
      "7903FE1008B8BC99A41AE9E95628BC64F2F1B20C2D7E9F5177A3C294D4462299",
      point);
  from_hex("AF2BDBE1AA9B6EC1E2ADE1D694F41FC71A831D0268E9891562113D8A62ADD1BF", digest);
  from_hex(
      "EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716"
      "F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8",
      signature);
  const uint32_t before = tn_count();
  *good = tn::bearssl_crypto()->es256_verify(point, digest, signature) == tn::Verified::kGood;
  return instructions(tn_count() - before);
}

}  // namespace

int main() {
  say("instructions_per_count", instructions_per_count());
  say("node_bytes", sizeof(tn::Node));
  say("control_pass_instructions", pass_instructions(sample_block()));
  say("largest_control_pass_instructions", pass_instructions(largest_block()));
  say("control_stack_bytes", control_stack.deepest_bytes());
  say("sha256_64k_instructions", sha256_instructions());
  bool good = false;
  say("es256_instructions", es256_instructions(&good));
  return good ? 0 : 1;
}
