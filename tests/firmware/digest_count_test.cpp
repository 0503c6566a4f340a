// Each digest that is begun has its end: in every story of an update with each flash operation failing in turn, once or for good, and
// in a whole node whose uploads end in every way they can. On an ESP32 a context that is not ended keeps the chip's engine.
#include "check.h"
#include "cut_story.h"
#include "digest_count.h"
#include "fast_digest.h"
#include "node_world.h"

namespace {

constexpr uint32_t S = tn::kSectorBytes;
const Variant kKinds[] = {{"two-slot", kSmallTwoSlot, 7 * S},
                          {"copy-in-place", kSmallCopyInPlace, 9 * S},
                          {"esp32", kSmallIdf, 9 * S},
                          {"esp8266", kSmallCopyInPlace, 9 * S, true}};
constexpr uint32_t kStride = 31;  // of the operations that fail; the first of each run differs, so that all kinds of places come

MemoryFlash m;
tn::Flash whole;             // what m can do
uint32_t operation, fail_at;  // counted from 1
bool for_good;

bool fails_now() {
  ++operation;
  return operation == fail_at || (for_good && operation > fail_at && fail_at != 0);
}
bool read(void *ctx, uint32_t at, void *to, uint32_t n) { return !fails_now() && whole.read(ctx, at, to, n); }
bool program(void *ctx, uint32_t at, const void *from, uint32_t n) { return !fails_now() && whole.program(ctx, at, from, n); }
bool erase(void *ctx, uint32_t at) { return !fails_now() && whole.erase(ctx, at); }

// Operations of the flash that the story took.
uint32_t tell(const Variant &kind, const Story &story, uint32_t fails) {
  prepare(kind, 1, &m);
  whole = m.flash;
  operation = 0;
  fail_at = fails;
  m.flash.read = read;
  m.flash.program = program;
  m.flash.erase = erase;
  Told told = {};
  story.tell(kind, &m, &told);
  return operation;
}

void every_story_with_every_operation_failing() {
  test_crypto = digest_count::over(fast_digest::crypto());
  make_image(&zero, 1);
  make_image(&one, 2);
  make_image(&two, 3);
  make_image(&three, 4);
  uint32_t first = 1, runs = 0;
  for (const Variant &kind : kKinds) {
    for (const Story &story : kStories) {
      for_good = false;
      const uint32_t all = tell(kind, story, 0);
      CHECK(digest_count::even() && all > 100);
      for (uint32_t at = first; at <= all; at += kStride) {
        for (int good = 0; good < 2; ++good) {
          for_good = good == 1;
          digest_count::forget();
          tell(kind, story, at);
          if (!digest_count::even()) printf("%s %s, operation %u fails\n", kind.name, story.name, at);
          CHECK(digest_count::even());
          ++runs;
        }
      }
      first = first % kStride + 1;
    }
  }
  printf("%u stories with a failing flash\n", runs);
  CHECK(runs > 500);
}

// --- a whole node

int begin_put(world::Put *p, size_t body_n) {
  static char head[4096];
  const size_t n = sign::write_head(p->request, head, sizeof head);
  const int i = world::dial();
  world::give(i, head, n);
  world::give(i, p->body, body_n);
  world::settle();
  return i;
}

void node_of_its_own() {
  digest_count::forget();
  world::first_flash();
  world::w.port.crypto = digest_count::over(tn::bearssl_crypto());
  CHECK(world::boot());
}

void uploads_that_end_in_every_way() {
  world::Put p;
  node_of_its_own();
  CHECK(world::status_in(world::put(1, 6)) == 202 && digest_count::even());  // whole

  node_of_its_own();
  world::make_put(&p, 1, 6);
  int i = begin_put(&p, 3000);
  CHECK(digest_count::open_now == 1);
  world::w.sockets[i].peer_closed = true;  // the other end goes away
  world::settle();
  CHECK(digest_count::even());

  world::make_put(&p, 1, 6);
  i = begin_put(&p, 3000);
  CHECK(digest_count::open_now == 1);
  world::pass_ms(120000);  // nothing more comes
  CHECK(!world::w.sockets[i].open && digest_count::even());

  world::make_put(&p, 1, 6);
  world::w.images[1][5] ^= 1;  // another body
  CHECK(world::refused(world::put(p), 400, "wrong-digest") || world::refused(world::answer(0), 422, "wrong-digest"));
  world::w.images[1][5] ^= 1;
  CHECK(digest_count::even());

  world::make_put(&p, 1, 6);
  p.key = sign::key_pair(9);  // a stranger's ticket
  world::sign_put(&p);
  CHECK(world::status_in(world::put(p)) >= 400 && digest_count::even());

  world::make_put(&p, 1, 6);
  world::w.flash.fails = true;
  CHECK(world::status_in(world::put(p)) >= 400 && digest_count::even());
  world::w.flash.fails = false;

  world::make_put(&p, 1, 6);
  begin_put(&p, 3000);
  world::w.flash.fails = true;  // in the middle of the body
  world::give(0, p.body + 3000, 2000);
  world::settle();
  CHECK(digest_count::even());
  CHECK(digest_count::begun_ever > 100);
}

}  // namespace

int main() {
  RUN(every_story_with_every_operation_failing);
  RUN(uploads_that_end_in_every_way);
  return check_result();
}
