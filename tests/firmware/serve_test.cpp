// What a stranger with sockets can do to a node, and what a slow sender: places, rooms, time, nonces. The bounds are those of
// docs/node-interface.md sections 2 and 3, written here as figures, not taken from the headers.
#include "network_world.h"

using namespace world;

namespace {

const int kPlaces = kSockets - 1;

void fresh() {
  first_flash();
  CHECK(boot());
  settle();
}

int knock(const char *text) {
  const int i = dial();
  if (text != nullptr) give(i, text, strlen(text));
  return i;
}

const char kGet[] = "GET /v1/state HTTP/1.1\r\nHost: a\r\n\r\n";
const char kPart[] = "GET /v1/state HT";

// The answer to a request that is given up to 2 s, from whoever is at the door meanwhile.
const char *patiently(const char *text, size_t n) {
  const int i = dial();
  give(i, text, n);
  for (int ms = 0; ms < 2000 && w.sockets[i].open; ms += 50) pass_ms(50);
  return answer(i);
}
const char *patient_get() { return patiently(kGet, strlen(kGet)); }
const char *patient_post() {
  char text[4096];
  return patiently(text, sign::write_head(request("POST", "/v1/rest"), text, sizeof text));
}

// An image's head, sent; its body is still to come.
int begin_image(Put *p, const char *more = nullptr) {
  static char text[4096];
  make_put(p, 1, 6);
  p->request.more = more;
  const size_t n = sign::write_head(p->request, text, sizeof text);
  const int i = dial();
  give(i, text, n);
  node.step();
  return i;
}

// Sends the body by `piece` bytes every `every_ms` and lets the time pass; when the node closed it, in ms since the head.
uint64_t dribble(int i, const Put &p, size_t piece, uint64_t every_ms) {
  const uint64_t begun_ms = w.now_ms;
  size_t sent = 0;
  while (w.sockets[i].open && w.now_ms - begun_ms < 200000000) {
    const size_t n = p.body_n - sent < piece ? p.body_n - sent : piece;
    w.sockets[i].in_n = w.sockets[i].in_at = 0;
    give(i, p.body + sent, n);
    sent += n;
    for (uint64_t ms = 0; ms < every_ms && w.sockets[i].open; ++ms) {
      ++w.now_ms;
      ++w.process_ms;
      node.step();
    }
  }
  return w.now_ms - begun_ms;
}

uint64_t erase_ms;
bool (*real_erase)(void *ctx, uint32_t at);
bool slow_erase(void *ctx, uint32_t at) {
  w.now_ms += erase_ms;
  w.process_ms += erase_ms;
  return real_erase(ctx, at);
}

}  // namespace

// 10 s, and 7,001 bytes at 10 kB/s: 10.7 s in all, whatever the pauses. One byte every 9.9 s took 19.3 h before.
static void a_body_has_a_total_time() {
  const struct {
    size_t piece;
    uint64_t every_ms;
    bool whole;
  } senders[] = {{1, 9900, false}, {1, 1, true}, {1, 2, false}, {100, 150, true}, {100, 160, false}, {6000, 9000, true}, {3000, 9000, false}};
  for (const auto &sender : senders) {
    fresh();
    Put p;
    const int i = begin_image(&p);
    const uint64_t ms = dribble(i, p, sender.piece, sender.every_ms);
    if (status_in(answer(i)) != (sender.whole ? 202 : 0) || ms > 10700 + 200) printf("%zu bytes every %llu ms: %llu ms\n", sender.piece, static_cast<unsigned long long>(sender.every_ms), static_cast<unsigned long long>(ms));
    CHECK(status_in(answer(i)) == (sender.whole ? 202 : 0));
    CHECK(ms <= 10700 + 200);
    if (!sender.whole) CHECK(ms >= 10700 && status_in(put(1, 6)) == 202);  // and it takes the next one
  }
}

// The node's flash may take as long as it likes: that is no time of the sender's. 60 s for each of two sectors here.
static void a_slow_erase_cuts_nobody_off() {
  fresh();
  real_erase = w.flash.flash.erase;
  Put p;
  const int i = begin_image(&p);
  w.flash.flash.erase = slow_erase;
  erase_ms = 60000;
  const uint64_t begun_ms = w.now_ms;
  dribble(i, p, 100, 150);
  CHECK(status_in(answer(i)) == 202 && w.now_ms - begun_ms > 120000);

  fresh();  // nor does it give a slow one more than that
  real_erase = w.flash.flash.erase;
  const int slow = begin_image(&p);
  w.flash.flash.erase = slow_erase;
  const uint64_t ms = dribble(slow, p, 1, 40);
  CHECK(status_in(answer(slow)) == 0 && ms <= 10700 + 60000 + 100);
}

static void a_go_ahead_that_nobody_takes_holds_no_update() {
  fresh();
  Put p;
  const int i = knock(nullptr);
  w.sockets[i].stuck = true;
  char text[4096];
  make_put(&p, 1, 6);
  p.request.more = "Expect: 100-continue\r\n";
  give(i, text, sign::write_head(p.request, text, sizeof text));
  pass_ms(9500);
  CHECK(w.sockets[i].open && refused(put(2, 7), 409, "busy"));
  pass_ms(700);
  CHECK(!w.sockets[i].open && status_in(put(2, 7)) == 202);
}

// For how long the node holds a connection for a reader that takes `sip` bytes of its state each `pause_ms`.
static uint64_t held_for_reader(size_t sip, uint64_t pause_ms, int *status) {
  fresh();
  const int i = dial();
  w.sockets[i].stuck = true;
  w.sockets[i].sip = sip;
  give(i, kGet, strlen(kGet));
  const uint64_t begun_ms = w.now_ms;
  while (w.sockets[i].open && w.now_ms - begun_ms < 120000) {
    w.sockets[i].stuck = false;
    node.step();
    if (!w.sockets[i].open) break;
    w.sockets[i].stuck = true;
    pass_ms(pause_ms);
  }
  *status = w.sockets[i].open ? 0 : status_in(w.done[i].out);
  return w.now_ms - begun_ms;
}

// docs/node-interface.md 2: an answer has 10 s, and its size at 10 kB/s.
static void an_answer_has_a_total_time() {
  int status = 0;
  fresh();
  const size_t whole = strlen(get("/v1/state"));
  CHECK(whole > 1000 && whole < 16000);
  const uint64_t most_ms = 10000 + whole / 10;
  CHECK(held_for_reader(1, 100, &status) <= most_ms + 200);
  CHECK(held_for_reader(1, 2000, &status) <= most_ms + 4000);
  CHECK(strlen(w.done[0].out) < 500);                            // it was not for being whole that it ended
  CHECK(held_for_reader(100, 10, &status) < most_ms && status == 200);  // 10 kB/s
  CHECK(strlen(w.done[0].out) == whole);
}

// Everybody who came before and did nothing goes for the next one: the oldest first.
static void the_oldest_unfinished_head_makes_room() {
  fresh();
  int handles[kPlaces];
  for (int k = 0; k < kPlaces; ++k) {
    handles[k] = knock(kPart);
    pass_ms(50);
  }
  for (int k = 0; k < kPlaces; ++k) {
    give(handles[k], "T", 1);  // a byte more keeps no place
    CHECK(status_in(get("/v1/state")) == 200);
    CHECK(!w.sockets[handles[0]].open);
    for (int later = 1; later < kPlaces; ++later) CHECK(w.sockets[handles[later]].open);
  }
  knock(kPart);
  knock(kPart);
  CHECK(!w.sockets[handles[1]].open);
  for (int later = 2; later < kPlaces; ++later) CHECK(w.sockets[handles[later]].open);
}

// A hundred at the door at every moment, and what is signed is done all the same, within a second of its coming.
static void a_signed_request_finds_a_place_among_silent_ones() {
  fresh();
  for (int turn = 0; turn < 200; ++turn) {
    while (w.knocking < 3) ++w.knocking;
    pass_ms(100);
    w.knocking = 0;
    CHECK(status_in(patient_post()) == 200);
  }
}

// Unsigned requests whose answers nobody takes: neither their places nor the rooms for long answers are held.
static void a_signed_request_finds_a_place_among_readers_that_stall() {
  fresh();
  for (int turn = 0; turn < 50; ++turn) {
    for (int k = 0; k < kPlaces; ++k) {
      const int i = knock(turn % 2 == 0 ? kGet : "GET /nothing HTTP/1.1\r\nHost: a\r\n\r\n");
      if (i < kSockets && w.sockets[i].open) w.sockets[i].stuck = true;
      node.step();
    }
    pass_ms(150);
    CHECK(status_in(patient_get()) == 200);
    CHECK(status_in(patient_post()) == 200);
  }
}

// With no one else at the door a reader that stalls is waited for; one that waits for its room has it after a second.
static void a_room_is_taken_from_a_reader_that_stalls() {
  if (tn::kAnswerRooms + 1 > tn::kConnections) return;
  fresh();
  int stuck[tn::kAnswerRooms];
  for (int &each : stuck) {
    each = dial();
    w.sockets[each].stuck = true;
    give(each, kGet, strlen(kGet));
    pass_ms(50);
  }
  const int i = knock(kGet);
  pass_ms(800);
  CHECK(w.sockets[i].open && w.sockets[i].out_n == 0);
  for (int each : stuck) CHECK(w.sockets[each].open);
  pass_ms(250);
  CHECK(status_in(answer(i)) == 200 && !w.sockets[stuck[0]].open);
  for (size_t k = 1; k < tn::kAnswerRooms; ++k) CHECK(w.sockets[stuck[k]].open);
}

// An image on its way is not ended by anybody at the door, nor its answer.
static void what_is_signed_is_never_dropped_for_another() {
  fresh();
  Put p;
  const int i = begin_image(&p);
  for (int turn = 0; turn < 60; ++turn) {
    w.knocking = 3;
    w.now_ms += 100;
    w.process_ms += 100;
    give(i, p.body + turn * 100, 100);
    node.step();
    CHECK(w.sockets[i].open);
  }
  w.knocking = 0;
  give(i, p.body + 6000, p.body_n - 6000);
  w.sockets[i].stuck = true;
  pass_ms(200);
  for (int k = 0; k < 2 * kPlaces; ++k) {
    knock(kPart);
    w.now_ms += 10;
  }
  CHECK(w.sockets[i].open);
  w.sockets[i].stuck = false;
  node.step();
  CHECK(status_in(w.sockets[i].open ? w.sockets[i].out : w.done[i].out) == 202);
}

// Who knocks while every place is taken waits outside; who could wait for long, for all of them are signed work, is told.
static void who_finds_no_place_is_told_crowded() {
  fresh();
  w.knocking = kPlaces + 1;
  node.step();
  CHECK(w.knocking == 1);  // those who came are given a moment to say what they want
  pass_ms(50);
  CHECK(w.knocking == 0);

  fresh();
  for (int k = 0; k < kPlaces; ++k) {
    char text[4096];
    const int i = dial();
    w.sockets[i].stuck = true;
    give(i, text, sign::write_head(request("POST", "/v1/rest"), text, sizeof text));
    node.step();
  }
  w.knocking = 2;
  pass_ms(50);
  CHECK(refused(w.sockets[kPlaces].out, 503, "crowded") && w.knocking == 1);
  char want[64];
  snprintf(want, sizeof want, "Content-Length: %zu\r\n", strlen(body_of(w.sockets[kPlaces].out)));
  CHECK(says(w.sockets[kPlaces].out, want));
  pass_ms(150);
  CHECK(w.knocking == 0);  // told and closed within a tenth of a second: the next one is told in turn
}

// The property of section 3: from the moment at which a nonce was handed out it counts for at least 30 s and at most 60 s,
// whoever reads the state meanwhile and however often.
static void a_nonce_counts_half_a_minute_and_no_longer_than_one() {
  uint32_t random = 7;
  auto next = [&random](uint32_t below) {
    random = random * 1664525u + 1013904223u;
    return (random >> 8) % below;
  };
  for (int story = 0; story < 120; ++story) {
    fresh();
    pass_ms(next(90) * 1000u);
    char text[4096];
    const size_t n = sign::write_head(request("POST", "/v1/rest"), text, sizeof text);  // with the nonce handed out now
    const uint64_t handed_ms = w.now_ms;
    const uint64_t held_ms = next(3) == 0 ? 29900 : next(2) == 0 ? 60000 : next(90000);
    while (w.now_ms - handed_ms < held_ms) {
      if (next(3) == 0) get("/v1/state");
      const uint64_t left_ms = held_ms - (w.now_ms - handed_ms);
      pass_ms(left_ms < 2000 ? left_ms : next(2000));
    }
    const uint64_t age_ms = w.now_ms - handed_ms;
    const char *said = ask(text, n);
    if (age_ms < 30000) CHECK(status_in(said) == 200);
    else if (age_ms >= 60000) CHECK(refused(said, 401, "nonce-used"));
    else CHECK(status_in(said) == 200 || refused(said, 401, "nonce-used"));
  }
}

static void a_nonce_that_was_used_ends_the_one_before_too() {
  fresh();
  char held[4096], again[4096];
  const size_t held_n = sign::write_head(request("POST", "/v1/rest"), held, sizeof held);
  pass_ms(31000);  // another is handed out now; the first still counts
  const size_t again_n = sign::write_head(request("POST", "/v1/rest"), again, sizeof again);
  CHECK(status_in(post("/v1/rest")) == 200);
  CHECK(refused(ask(held, held_n), 401, "nonce-used"));
  CHECK(refused(ask(again, again_n), 401, "nonce-used"));

  const size_t n = sign::write_head(request("POST", "/v1/rest"), held, sizeof held);
  pass_ms(31000);
  strcpy(again, nonce());
  CHECK(status_in(ask(held, n)) == 200);  // the one before, used: the present one is gone too
  CHECK(strcmp(again, nonce()) != 0);
}

// Who has no key uses none up and keeps none alive: it turns by the clock.
static void strangers_do_nothing_to_a_nonce() {
  fresh();
  char before[32];
  strcpy(before, nonce());
  for (int k = 0; k < 29; ++k) {
    get("/v1/state");
    sign::Request r = request("POST", "/v1/rest");
    r.key[3] ^= 1;
    CHECK(refused(ask(r), 401, "bad-signature"));
    pass_ms(1000);
  }
  CHECK(strcmp(before, nonce()) == 0);
  pass_ms(2000);
  CHECK(strcmp(before, nonce()) != 0);
}

// A ticket that cannot be checked for want of memory is not a bad one.
static void want_of_memory_is_a_refusal_of_its_own() {
  fresh();
  static tn::Crypto poor;
  poor = *tn::bearssl_crypto();
  poor.es256_verify = [](const uint8_t *, const uint8_t *, const uint8_t *) { return tn::Verified::kNoMemory; };
  w.port.crypto = &poor;
  CHECK(boot());
  CHECK(refused(put(1, 6), 503, "no-memory"));
  w.port.crypto = tn::bearssl_crypto();
  CHECK(boot());
  CHECK(status_in(put(1, 6)) == 202);
}

// Nor is a MAC that cannot be made a forged one: the refusal goes out unsigned, which proves nothing, and what was asked is not done.
// Nothing that would have to be signed goes out without.
static void want_of_memory_for_a_mac_is_no_forgery() {
  fresh();
  static tn::Crypto poor;
  poor = *tn::bearssl_crypto();
  poor.hmac_end = [](tn::Hmac *, uint8_t out[32]) {
    memset(out, 0xA5, 32);
    return false;
  };
  w.port.crypto = &poor;
  CHECK(boot());
  const char *const no = ask(request("POST", "/v1/rest"));
  CHECK(refused(no, 503, "no-memory") && strstr(no, "Signature:") == nullptr);
  CHECK(refused(put(1, 6), 503, "no-memory"));
  CHECK(status_in(get("/v1/state")) == 200);  // not asked to be signed
  w.port.crypto = tn::bearssl_crypto();
  CHECK(boot());
  CHECK(status_in(ask(request("POST", "/v1/rest"))) == 200);
}

int main() {
  RUN(a_body_has_a_total_time);
  RUN(a_slow_erase_cuts_nobody_off);
  RUN(a_go_ahead_that_nobody_takes_holds_no_update);
  RUN(an_answer_has_a_total_time);
  RUN(the_oldest_unfinished_head_makes_room);
  RUN(a_signed_request_finds_a_place_among_silent_ones);
  RUN(a_signed_request_finds_a_place_among_readers_that_stall);
  RUN(a_room_is_taken_from_a_reader_that_stalls);
  RUN(what_is_signed_is_never_dropped_for_another);
  RUN(who_finds_no_place_is_told_crowded);
  RUN(a_nonce_counts_half_a_minute_and_no_longer_than_one);
  RUN(a_nonce_that_was_used_ends_the_one_before_too);
  RUN(strangers_do_nothing_to_a_nonce);
  RUN(want_of_memory_is_a_refusal_of_its_own);
  RUN(want_of_memory_for_a_mac_is_no_forgery);
  return check_result();
}
