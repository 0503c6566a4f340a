// State document and metrics page into their fixed buffers. With the argument `state` or `metrics` and `sample`, `largest` or
// `bad` the document is printed, and tests/firmware/test_firmware_core.py reads it with other people's parsers.
#include <string.h>

#include "check.h"
#include "core/long_answer.h"
#include "core/metrics.h"
#include "core/state_doc.h"
#include "ports/host/crypto_bearssl.h"
#include "sample_block.h"

namespace {

tn::NodeBlock block;
tn::Control control;
uint8_t digests[3][32];
char room[16384];
tn::LongAnswer answer;

tn::NodeView view_of(bool largest) {
  block = largest ? largest_block() : sample_block();
  memset(&control, 0, sizeof control);
  control.block = &block;
  control.at_ms = 725000;
  for (size_t i = 0; i < block.tank_count; ++i) {
    tn::TankControl &tank = control.tanks[i];
    for (size_t k = 0; k < block.tanks[i].mark_count; ++k) {
      tn::probe_begin(&tank.probes[k]);
      tank.probes[k].state = largest || k < 2 ? tn::ProbeState::kWet : tn::ProbeState::kDry;
    }
    tank.level = tn::level_from(tank.probes, block.tanks[i].mark_count);
    tank.rules = tn::pump_rules(block.tanks[i], block.power_up_hold_s);
    tn::pump_begin(&tank.pump, 0);
    tank.pump.why = tn::PumpWhy::kPowerUpHold;
    tank.pump.latched = tn::TankFault::kNone;
    tank.pump.run_ms = largest ? 18446744073709551ull * 900 : 65250;
    tank.pump.starts = largest ? 4294967295u : 2;
  }
  control.tanks[0].pump.on = true;
  control.tanks[0].pump.run = tn::Run{};
  control.tanks[0].pump.run.on_ms = 11500;
  control.tanks[0].pump.at_ms = control.at_ms;
  control.tanks[0].pump.run_ms = largest ? 18446744073709551ull * 900 : 65250 + 11500;
  control.tanks[0].pump.why = tn::PumpWhy::kBetween;
  for (size_t i = 0; i < 3; ++i) memset(digests[i], static_cast<int>(0x11 * (i + 1)), 32);
  tn::NodeView view;
  memset(&view, 0, sizeof view);
  view.node = block.node;
  view.block = &block;
  view.control = &control;
  const uint64_t most = largest ? 9223372036854775807ull : 8;
  view.slots = tn::SlotFacts{tn::Phase::kOnTrial, digests[0], 500000, most, most - 1, digests[1], digests[2],
                             tn::Reason::kNoHealthyBoot, largest ? 4294967295u : 17u,
                             static_cast<uint16_t>(largest ? 65535 : 3)};
  view.faults = largest ? static_cast<uint8_t>(0x3F & ~tn::kFaultBadBlock) : uint8_t{0};
  const uint8_t mac[6] = {0x24, 0x6f, 0x28, 0x00, 0x0a, 0xff};
  memcpy(view.mac, mac, 6);
  view.reset = tn::Reset::kWatchdog;
  view.has_rssi = true;
  view.rssi_dbm = -67;
  view.uptime_ms = largest ? 9223372036854775807ull : 725000;
  view.trial_left_ms = largest ? 65535000 : 120400;
  view.network = {tn::NetworkPhase::kOnTrial, true, largest ? tn::Which::kKept : tn::Which::kNew, largest ? 65535000u : 59001u,
                  true, {0x02, 0xab, 0, 0, 0x0c, 0xff}, static_cast<uint8_t>(largest ? 255 : 11)};
  view.free_bytes = largest ? 4294967295u : 38000;
  view.has_largest_block = true;
  view.largest_block_bytes = largest ? 4294967295u : 21000;
  view.requests = largest ? 4294967295u : 12;
  view.refusals = largest ? 4294967295u : 3;
  view.nonce = "AAAAAAAAAAAAAAAAAAAAAA";
  return view;
}

tn::Text document(const char *which, const tn::NodeView &view) {
  tn::Text t = tn::text_into(room, sizeof room);
  if (strcmp(which, "state") == 0) {
    tn::put_state(&t, view);
  } else {
    tn::put_metrics(&t, view);
  }
  return t;
}

}  // namespace

static void numbers_and_texts() {
  char small[64];
  tn::Text t = tn::text_into(small, sizeof small);
  tn::put_u64(&t, 18446744073709551615ull);
  tn::put_char(&t, ' ');
  tn::put_i32(&t, -2147483647 - 1);
  tn::put_char(&t, ' ');
  tn::put_seconds(&t, 61007);
  tn::put_char(&t, ' ');
  tn::put_crc(&t, 0x00ABCDEFu);
  CHECK(t.n == 20 + 1 + 11 + 1 + 6 + 1 + 8 && memcmp(small, "18446744073709551615 -2147483648 61.007 00abcdef", t.n) == 0);
  t = tn::text_into(small, sizeof small);
  tn::put_json_string(&t, "a\"b\\c\n\x7f\xc3");
  CHECK(t.n == 27 && memcmp(small, "\"a\\\"b\\\\c\\u000a\\u007f\\u00c3\"", t.n) == 0);
  t = tn::text_into(small, 4);
  tn::put(&t, "12345");
  CHECK(t.over && t.n == 4 && memcmp(small, "1234", 4) == 0);
  tn::put(&t, "1");
  CHECK(t.n == 4);  // once over, always over
  t = tn::text_from(3, small, 4);
  tn::put(&t, "01");
  tn::put(&t, "2345");
  CHECK(!t.over && t.n == 3);
  tn::put(&t, "6");
  CHECK(!t.over && t.n == 4 && t.skip == 0 && memcmp(small, "3456", 4) == 0);
}

static void the_largest_documents() {
  const tn::NodeView view = view_of(true);
  const char *const both[] = {"state", "metrics"};
  for (const char *which : both) {
    const tn::Text t = document(which, view);
    CHECK(!t.over);
    printf("largest %s: %zu bytes\n", which, t.n);
  }
}

// Each document in pieces, of what was seen at its start: the node goes on meanwhile.
static void pieces_make_the_whole() {
  const tn::NodeView view = view_of(true);
  const tn::Page both[] = {tn::Page::kState, tn::Page::kMetrics};
  for (const tn::Page page : both) {
    const tn::NodeView same = view_of(true);
    const tn::Text whole = document(page == tn::Page::kState ? "state" : "metrics", same);
    tn::long_answer_begin(&answer, page, view);
    memset(digests, 0, sizeof digests);
    memset(&control, 0, sizeof control);
    uint8_t digest[32], expected[32];
    CHECK(tn::long_answer_measure(&answer, *tn::bearssl_crypto(), digest) == whole.n);
    tn::Sha256 sha;
    tn::bearssl_crypto()->sha256_begin(&sha);
    tn::bearssl_crypto()->sha256_add(&sha, whole.to, whole.n);
    tn::bearssl_crypto()->sha256_end(&sha, expected);
    CHECK(memcmp(digest, expected, sizeof digest) == 0);
    size_t at = 0, pieces = 0;
    for (size_t n = tn::long_answer_next(&answer); n > 0; n = tn::long_answer_next(&answer), ++pieces) {
      CHECK(at + n <= whole.n && memcmp(answer.piece, whole.to + at, n) == 0);
      at += n;
    }
    CHECK(at == whole.n && pieces == (whole.n + tn::kPieceBytes - 1) / tn::kPieceBytes);
  }
}

static void what_does_not_fit_is_never_written() {
  const tn::NodeView view = view_of(true);
  for (size_t n = 0; n < 2500; n += 37) {
    memset(room, '~', sizeof room);
    tn::Text t = tn::text_into(room, n);
    tn::put_state(&t, view);
    CHECK(t.over && t.n <= n && room[n] == '~');
  }
}

int main(int count, char **arguments) {
  if (count == 3) {
    tn::NodeView view = view_of(strcmp(arguments[2], "largest") == 0);
    if (strcmp(arguments[2], "bad") == 0) {
      view.faults = tn::kFaultBadBlock | tn::kFaultNoRecord;
      view.slots = tn::SlotFacts{};
      view.node = "";
      view.has_largest_block = view.network.has_access_point = false;
    }
    const tn::Text t = document(arguments[1], view);
    return fwrite(t.to, 1, t.n, stdout) == t.n && !t.over ? 0 : 1;
  }
  RUN(numbers_and_texts);
  RUN(the_largest_documents);
  RUN(pieces_make_the_whole);
  RUN(what_does_not_fit_is_never_written);
  return check_result();
}
