// The whole node: trust, trial, control under attack. Every refusal of docs/node-interface.md section 2 that a request can bring
// about is brought about here.
#include "network_world.h"

using namespace world;

namespace {

void fresh() {
  first_flash();
  CHECK(boot());
  settle();
}

// Header tank empty and past all holds: its pump runs.
void fresh_and_pumping() {
  fresh();
  w.wet[4] = true;  // sump between its marks
  pass_ms(61000);
  CHECK(w.level_high[10]);
}

}  // namespace

static void state_and_metrics_are_served() {
  fresh();
  const char *text = get("/v1/state");
  CHECK(status_in(text) == 200 && says(text, "Content-Type: application/json\r\n") && says(text, "Connection: close\r\n"));
  CHECK(says(text, "{\"v\":1,\"node\":\"upper-barn\"") && says(text, "\"phase\":\"kept\"") && says(text, "\"sequence\":5,\"floor\":5"));
  char want[64];
  snprintf(want, sizeof want, "Content-Length: %zu\r\n", strlen(body_of(text)));
  CHECK(says(text, want));
  snprintf(want, sizeof want, "\"nonce\":\"%s\"", nonce());
  CHECK(says(text, want));
  text = get("/metrics");
  CHECK(status_in(text) == 200 && says(text, "application/openmetrics-text; version=1.0.0; charset=utf-8"));
  CHECK(says(text, "tanknode_requests_total 1\n"));
  CHECK(w.announced == 1 && strcmp(w.announced_phase, "kept") == 0);
}

static void wrong_paths_and_methods() {
  fresh();
  CHECK(refused(get("/"), 404, "not-found"));
  CHECK(refused(get("/v1/state/"), 404, "not-found"));
  CHECK(refused(get("/v1/state?x=1"), 404, "not-found"));
  CHECK(refused(get("/v1/keep"), 405, "bad-method"));
  CHECK(says(get("/v1/image"), "Allow: PUT\r\n"));
  const char text[] = "DELETE /v1/state HTTP/1.1\r\nHost: a\r\n\r\n";
  CHECK(refused(ask(text, strlen(text)), 405, "bad-method"));
  const char body[] = "GET /v1/state HTTP/1.1\r\nHost: a\r\nContent-Length: 3\r\n\r\nabc";
  CHECK(refused(ask(body, strlen(body)), 400, "bad-request"));
  const char chunked[] = "PUT /v1/image HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\n3\r\nabc\r\n";
  CHECK(refused(ask(chunked, strlen(chunked)), 411, "length-required"));
  const char old[] = "GET /v1/state HTTP/1.0\r\nHost: a\r\n\r\n";
  CHECK(refused(ask(old, strlen(old)), 400, "bad-request"));
}

static void a_head_that_is_too_long_is_refused() {
  fresh();
  char text[4000];
  memset(text, 'x', sizeof text);
  const size_t n = static_cast<size_t>(snprintf(text, sizeof text, "GET /v1/state HTTP/1.1\r\nHost: a\r\nX: "));
  text[n] = 'x';
  CHECK(refused(ask(text, sizeof text), 400, "bad-request"));
  CHECK(status_in(get("/v1/state")) == 200);
}

static void a_good_image_is_taken_tried_and_kept() {
  fresh();
  const char *text = put(1, 6);
  CHECK(status_in(text) == 202 && says(text, "{\"ok\":true,\"phase\":\"on-trial\"}"));
  CHECK(w.restarts == 0);
  pass_ms(1000);
  CHECK(w.restarts == 1 && w.goodbyes == 1 && !w.level_high[10]);
  CHECK(boot());
  settle();
  CHECK(w.area == 1 && facts().phase == tn::Phase::kOnTrial && strcmp(w.announced_phase, "on-trial") == 0);
  CHECK(memcmp(w.flash.cells + kSmallTwoSlot.images[1].at, w.images[1], kImageN) == 0);
  CHECK(says(get("/v1/state"), "\"trial_left_s\":300"));
  const int before = w.announced;
  text = post("/v1/keep");
  CHECK(status_in(text) == 200 && says(text, "{\"ok\":true,\"phase\":\"kept\"}"));
  CHECK(w.announced == before + 1 && strcmp(w.announced_phase, "kept") == 0);
  CHECK(facts().sequence == 6 && facts().floor == 6);
  CHECK(refused(post("/v1/keep"), 409, "not-on-trial"));
}

static void go_ahead_comes_only_after_signature_and_ticket() {
  fresh();
  Put p;
  make_put(&p, 1, 6);
  p.request.more = "Expect: 100-continue\r\n";
  char text[4096];
  size_t n = sign::write_head(p.request, text, sizeof text);
  int i = dial();
  give(i, text, n);
  settle();
  CHECK(strcmp(w.sockets[i].out, "HTTP/1.1 100 Continue\r\n\r\n") == 0);
  give(i, p.body, p.body_n);
  settle();
  CHECK(says(answer(i), "\r\n\r\nHTTP/1.1 202 Accepted\r\n"));

  fresh();
  make_put(&p, 1, 5);
  p.request.more = "Expect: 100-continue\r\n";
  n = sign::write_head(p.request, text, sizeof text);
  i = dial();
  give(i, text, n);
  settle();
  CHECK(refused(w.sockets[i].out, 403, "old-sequence"));
  CHECK(says(w.sockets[i].out, "\"detail\":\"sequence 5 is not above the floor 5\""));
  CHECK(w.sockets[i].open);  // waits for what the client may have sent already
  give(i, p.body, 100);
  w.sockets[i].peer_closed = true;
  settle();
  CHECK(!w.sockets[i].open);
}

static void image_in_single_bytes() {
  fresh();
  Put p;
  make_put(&p, 2, 9);
  char text[4096];
  const size_t n = sign::write_head(p.request, text, sizeof text);
  const int i = dial();
  for (size_t k = 0; k < n + kImageN; ++k) {
    give(i, k < n ? reinterpret_cast<const unsigned char *>(text) + k : p.body + (k - n), 1);
    node.step();
    w.sockets[i].in_n = w.sockets[i].in_at = 0;
  }
  settle();
  CHECK(status_in(answer(i)) == 202);
}

static void trust_is_refused_for_each_reason() {
  fresh();
  Put p;
  make_put(&p, 1, 6);
  p.request.key[0] ^= 1;
  CHECK(refused(put(p), 401, "bad-signature"));
  make_put(&p, 1, 6);
  p.request.nonce = "AAAAAAAAAAAAAAAAAAAAAA";
  CHECK(refused(put(p), 401, "nonce-used"));
  make_put(&p, 1, 6);
  p.request.ticket = nullptr;  // neither sent nor covered
  CHECK(refused(put(p), 401, "bad-signature"));
  const char bare[] = "PUT /v1/image HTTP/1.1\r\nHost: a\r\nContent-Length: 0\r\n\r\n";
  CHECK(refused(ask(bare, strlen(bare)), 401, "no-signature"));
  const char bare_post[] = "POST /v1/rest HTTP/1.1\r\nHost: a\r\n\r\n";
  CHECK(refused(ask(bare_post, strlen(bare_post)), 401, "no-signature"));

  make_put(&p, 1, 6);
  p.ticket.at[p.ticket.n++] = 0;  // a byte too many
  CHECK(refused(put(p), 403, "bad-ticket"));
  make_put(&p, 1, 6);
  p.key = sign::key_pair(8);
  sign_put(&p);
  CHECK(refused(put(p), 403, "unknown-key"));
  make_put(&p, 1, 6);
  p.key = sign::key_pair(8);
  memcpy(p.key.id, w.key.id, 8);  // claims to be the node's key
  sign_put(&p);
  CHECK(refused(put(p), 403, "bad-ticket-signature"));
  make_put(&p, 1, 6);
  strcpy(p.fields.node, "lower-barn");
  sign_put(&p);
  CHECK(refused(put(p), 403, "other-node"));
  make_put(&p, 1, 6);
  p.fields.class_id[3] ^= 1;
  sign_put(&p);
  CHECK(refused(put(p), 403, "other-class"));
  make_put(&p, 1, 6);
  strcpy(p.fields.format, "esp32-bin");
  sign_put(&p);
  CHECK(refused(put(p), 403, "other-class"));
  CHECK(refused(put(1, 5), 403, "old-sequence"));
  CHECK(facts().phase == tn::Phase::kKept && w.restarts == 0);
}

static void sizes_and_digests_are_refused() {
  fresh();
  Put p;
  make_put(&p, 1, 6);
  p.request.has_length = false;
  CHECK(refused(put(p), 411, "length-required"));
  make_put(&p, 1, 6);
  p.request.length = kSmallTwoSlot.images[1].bytes + 1;
  CHECK(refused(put(p), 413, "too-big"));
  make_put(&p, 1, 6);
  p.request.length = kImageN - 1;
  CHECK(refused(put(p), 422, "wrong-size"));
  p.request.more = "Expect: 100-continue\r\n";
  p.request.nonce = nonce();
  p.body_n = 0;
  CHECK(refused(put(p), 422, "wrong-size"));  // with no go-ahead before it
  make_put(&p, 1, 6);
  p.body_n = kImageN - 1;  // the peer closes early
  CHECK(refused(put(p), 422, "wrong-size"));
  make_put(&p, 1, 6);
  unsigned char longer[kImageN + 1] = {};
  memcpy(longer, w.images[1], kImageN);
  p.body = longer;
  p.body_n = sizeof longer;
  CHECK(refused(put(p), 422, "wrong-size"));
  make_put(&p, 1, 6);
  unsigned char other[32] = {1};
  p.request.body_sha256 = other;  // Content-Digest is not the ticket's
  CHECK(refused(put(p), 422, "wrong-digest"));
  make_put(&p, 1, 6);
  longer[kImageN / 2] ^= 1;
  p.body = longer;
  CHECK(refused(put(p), 422, "wrong-digest"));
  CHECK(facts().phase == tn::Phase::kKept && w.restarts == 0);
  CHECK(status_in(put(1, 6)) == 202);  // and after all that a good one is still taken
}

static void flash_that_fails_is_reported() {
  fresh();
  w.flash.fails = true;
  CHECK(refused(put(1, 6), 500, "flash-failed"));
  w.flash.fails = false;
  CHECK(status_in(put(1, 6)) == 202);
}

static void a_replayed_request_is_refused() {
  fresh();
  char text[4096];
  const sign::Request r = request("POST", "/v1/rest");
  const size_t n = sign::write_head(r, text, sizeof text);
  CHECK(status_in(ask(text, n)) == 200);
  CHECK(refused(ask(text, n), 401, "nonce-used"));
  CHECK(refused(ask(text, n), 401, "nonce-used"));
  CHECK(status_in(post("/v1/rest")) == 200);
}

static void the_nonce_changes_exactly_when_used() {
  fresh();
  char before[32];
  strcpy(before, nonce());
  get("/v1/state");
  Put p;
  make_put(&p, 1, 6);
  p.request.key[0] ^= 1;
  put(p);  // bad signature: whoever has no key cannot use up nonces
  CHECK(strcmp(before, nonce()) == 0);
  put(1, 5);  // good signature, refused on other grounds
  CHECK(strcmp(before, nonce()) != 0);
  strcpy(before, nonce());
  CHECK(boot());
  CHECK(strcmp(before, nonce()) != 0);
}

static void a_post_with_another_digest_is_refused() {
  fresh();
  sign::Request r = request("POST", "/v1/rest");
  unsigned char other[32] = {9};
  r.body_sha256 = other;
  CHECK(refused(ask(r), 400, "bad-request"));
}

static void answers_are_signed_on_demand() {
  fresh();
  const char text[] =
      "GET /v1/nothing HTTP/1.1\r\nHost: a\r\nAccept-Signature: tank=(\"@status\" \"content-digest\" \"@method\";req "
      "\"@path\";req);nonce=\"0123456789abcdefghijkl\";keyid=\"upper-barn\";alg=\"hmac-sha256\"\r\n\r\n";
  const char *got = ask(text, strlen(text));
  CHECK(refused(got, 404, "not-found"));
  unsigned char digest[32], mac[32];
  char digest64[64], mac64[64], base[1024], want[200];
  sign::sha256(body_of(got), strlen(body_of(got)), digest);
  sign::base64(digest, 32, digest64);
  const char *const params =
      "(\"@status\" \"content-digest\" \"@method\";req \"@path\";req);nonce=\"0123456789abcdefghijkl\";"
      "keyid=\"upper-barn\";alg=\"hmac-sha256\"";
  snprintf(base, sizeof base,
           "\"@status\": 404\n\"content-digest\": sha-256=:%s:\n\"@method\";req: GET\n\"@path\";req: /v1/nothing\n"
           "\"@signature-params\": %s",
           digest64, params);
  sign::hmac(w.node_key, base, mac);
  sign::base64(mac, 32, mac64);
  snprintf(want, sizeof want, "Signature: tank=:%s:\r\n", mac64);
  CHECK(says(got, want));
  const char broken[] = "GET /v1/state HTTP/1.1\r\nHost: a\r\nAccept-Signature: tank=(\r\n\r\n";
  got = ask(broken, strlen(broken));
  CHECK(refused(got, 400, "bad-request") && !says(got, "Signature:"));
}

static void a_trial_that_nobody_keeps_ends_by_itself() {
  fresh();
  put(1, 6);
  pass_ms(1000);
  w.network_up = false;  // not even a network
  CHECK(boot());
  pass_ms(299000);
  CHECK(w.restarts == 0);
  pass_ms(2000);
  CHECK(w.restarts == 1);
  w.network_up = true;
  CHECK(boot());
  settle();
  CHECK(w.area == 0 && facts().phase == tn::Phase::kPutBack && facts().last_reason == tn::Reason::kTrialOver);
  CHECK(says(get("/v1/state"), "\"phase\":\"put-back\"") && strcmp(w.announced_phase, "put-back") == 0);
  CHECK(status_in(put(1, 6)) == 202);  // its trial ended for want of a network: the same ticket may come again
}

static void a_pump_that_runs_when_the_trial_ends_is_put_off() {
  fresh();
  put(1, 6);
  pass_ms(1000);
  CHECK(boot());
  pass_ms(299900);
  CHECK(w.level_high[10] && w.restarts == 0);
  pass_ms(200);
  CHECK(w.restarts == 1 && !w.level_high[10]);
}

static void process_time_does_not_shorten_the_trial() {
  fresh();
  put(1, 6);
  pass_ms(1000);
  CHECK(boot());
  w.process_ms += 10000000;
  pass_ms(1000);
  CHECK(w.restarts == 0 && facts().phase == tn::Phase::kOnTrial);
}

static bool cannot_restart(void *) { return false; }

// An ESP8266 that was loaded over its serial line starts its loader again at every restart, until the power was away.
static void a_node_that_would_not_come_back_takes_no_image() {
  fresh();
  w.port.can_restart = cannot_restart;
  const char *text = put(1, 6);
  CHECK(refused(text, 409, "busy") && says(text, "take the power away once"));
  CHECK(facts().phase == tn::Phase::kKept && w.restarts == 0);
  w.port.can_restart = nullptr;
  CHECK(status_in(put(1, 6)) == 202);
}

static void put_back_goes_back() {
  fresh();
  CHECK(refused(post("/v1/put-back"), 409, "no-older-image"));
  put(1, 6);
  pass_ms(1000);
  CHECK(boot());
  settle();
  CHECK(refused(put(2, 7), 409, "on-trial"));
  Put p;
  make_put(&p, 2, 7);
  p.request.has_length = false;
  CHECK(refused(put(p), 409, "on-trial"));  // the codes in the order of the interface page
  const char *text = post("/v1/put-back");
  CHECK(status_in(text) == 202 && says(text, "\"phase\":\"put-back\""));
  ++w.knocking;
  node.step();
  CHECK(w.knocking == 1);  // nothing is taken any more
  pass_ms(1000);
  CHECK(w.restarts == 1);
  CHECK(boot());
  settle();
  CHECK(w.area == 0 && facts().last_reason == tn::Reason::kTold);
}

static void the_restart_follows_within_a_second_even_if_the_answer_does_not_get_out() {
  fresh();
  Put p;
  make_put(&p, 1, 6);
  char text[4096];
  const size_t n = sign::write_head(p.request, text, sizeof text);
  const int i = dial();
  give(i, text, n);
  give(i, p.body, p.body_n);
  w.sockets[i].stuck = true;
  settle();
  CHECK(w.restarts == 0);
  pass_ms(1000);
  CHECK(w.restarts == 1 && !w.sockets[i].open);
}

static void healthy_after_thirty_seconds_with_the_network_up() {
  fresh();
  put(1, 6);
  pass_ms(1000);
  CHECK(boot());
  settle();
  w.wet[1] = w.wet[2] = w.wet[3] = true;  // no pump runs: its runs are written down too
  const uint32_t before = w.flash.operations;
  pass_ms(29000);
  CHECK(w.flash.operations == before);
  w.network_up = false;
  pass_ms(5000);
  w.network_up = true;
  pass_ms(29000);
  CHECK(w.flash.operations == before);  // counted anew
  pass_ms(2000);
  CHECK(w.flash.operations > before);  // the record says so
}

static void pump_is_off_while_updating() {
  fresh_and_pumping();
  Put p;
  make_put(&p, 1, 6);
  char text[4096];
  const size_t n = sign::write_head(p.request, text, sizeof text);
  const int i = dial();
  give(i, text, n);
  give(i, p.body, 4000);
  settle();
  pass_ms(50);
  CHECK(!w.level_high[10] && says(get("/v1/state"), "\"why\":\"updating\""));
  CHECK(refused(put(2, 7), 409, "busy"));
  CHECK(refused(post("/v1/keep"), 409, "busy"));
  w.sockets[i].peer_closed = true;  // gives up: control goes on, after the shortest off time
  settle();
  pass_ms(59000);
  CHECK(!w.level_high[10]);
  pass_ms(2000);
  CHECK(w.level_high[10]);
}

static void a_transfer_that_falls_silent_is_dropped() {
  fresh_and_pumping();
  Put p;
  make_put(&p, 1, 6);
  char text[4096];
  const size_t n = sign::write_head(p.request, text, sizeof text);
  const int i = dial();
  give(i, text, n);
  give(i, p.body, 4000);
  settle();
  pass_ms(9500);
  CHECK(w.sockets[i].open);
  pass_ms(1000);
  CHECK(!w.sockets[i].open);
  CHECK(status_in(put(1, 6)) == 202);
}

static void rest_stops_the_pump() {
  fresh_and_pumping();
  CHECK(status_in(post("/v1/rest")) == 200);
  CHECK(!w.level_high[10] && says(get("/v1/state"), "\"why\":\"resting\""));
  pass_ms(599000);
  CHECK(!w.level_high[10]);
  pass_ms(3000);
  CHECK(w.level_high[10]);
}

static void control_goes_on_while_four_connections_hang() {
  fresh_and_pumping();
  int handles[4];
  for (int k = 0; k < 4; ++k) {
    handles[k] = dial();
    give(handles[k], "GET /v1/state HT", 16);
  }
  node.step();
  for (int k = 0; k < 4; ++k) CHECK(handles[k] == k && w.sockets[k].open);
  for (int k = 0; k < 3; ++k) w.wet[1 + k] = true;  // full
  pass_ms(2200);
  CHECK(!w.level_high[10]);
  pass_ms(8000);
  for (int k = 0; k < 4; ++k) CHECK(!w.sockets[k].open);
  CHECK(status_in(get("/v1/state")) == 200);
}

static void a_byte_now_and_then_does_not_hold_a_connection() {
  fresh();
  const int i = dial();
  give(i, "GET /", 5);
  for (int k = 0; k < 3; ++k) {
    pass_ms(9000);
    CHECK(w.sockets[i].open);
    give(i, "x", 1);
  }
  pass_ms(4000);
  CHECK(!w.sockets[i].open);
}

static void slow_readers_hold_only_the_rooms_for_long_answers() {
  fresh();
  const char text[] = "GET /v1/state HTTP/1.1\r\nHost: a\r\n\r\n";
  int i[3];
  for (int &each : i) {
    each = dial();
    w.sockets[each].stuck = true;
    give(each, text, strlen(text));
  }
  settle();
  CHECK(refused(get("/nothing"), 404, "not-found"));  // short answers need no such room
  w.sockets[i[0]].stuck = w.sockets[i[2]].stuck = false;
  settle();
  CHECK(status_in(answer(i[0])) == 200 && status_in(answer(i[2])) == 200);  // the third took the first one's room
  pass_ms(11000);
  CHECK(!w.sockets[i[1]].open);
}

// Its signature covers one moment: what changes while it is on its way is in none of its pieces.
static void a_long_answer_is_of_one_moment() {
  fresh();
  pass_ms(20000);
  const int i = dial();
  const char text[] =
      "GET /metrics HTTP/1.1\r\nHost: a\r\nAccept-Signature: tank=(\"@status\" \"content-digest\" \"@method\";req "
      "\"@path\";req);nonce=\"0123456789abcdefghijkl\";keyid=\"upper-barn\";alg=\"hmac-sha256\"\r\n\r\n";
  give(i, text, strlen(text));
  while (w.sockets[i].open && strstr(w.sockets[i].out, "# TYPE") == nullptr) node.step();
  CHECK(w.sockets[i].open);  // the first piece is out
  w.sockets[i].stuck = true;
  memset(w.wet, 1, sizeof w.wet);
  pass_ms(5000);
  CHECK(refused(get("/nothing"), 404, "not-found"));
  w.sockets[i].stuck = false;
  settle();
  const char *got = answer(i);
  unsigned char digest[32];
  char digest64[64], want[100];
  sign::sha256(body_of(got), strlen(body_of(got)), digest);
  sign::base64(digest, 32, digest64);
  snprintf(want, sizeof want, "Content-Digest: sha-256=:%s:\r\n", digest64);
  CHECK(status_in(got) == 200 && says(got, want) && says(got, "# EOF\n"));
  snprintf(want, sizeof want, "Content-Length: %zu\r\n", strlen(body_of(got)));
  CHECK(says(got, want));
  static char before[sizeof w.done[i].out];
  strcpy(before, body_of(got));
  CHECK(strcmp(body_of(get("/metrics")), before) != 0);
}

static void losing_the_network_drops_connections_and_coming_back_announces() {
  fresh();
  const int i = dial();
  give(i, "GET ", 4);
  settle();
  w.network_up = false;
  node.step();
  CHECK(!w.sockets[i].open);
  ++w.knocking;
  pass_ms(1000);
  CHECK(w.knocking == 1 && w.announced == 1);
  w.network_up = true;
  node.step();
  CHECK(w.knocking == 0 && w.announced == 2);
}

static void a_bad_block_controls_nothing_and_says_so() {
  first_flash();
  w.block.tanks[0].marks[1].pin = w.block.tanks[0].marks[0].pin;
  seal(&w.block);
  memset(w.level_high, 0, sizeof w.level_high);
  CHECK(!boot());
  pass_ms(100000);
  CHECK(!w.level_high[10] && !w.level_high[11] && w.announced == 1);
  CHECK(says(get("/v1/state"), "\"faults\":[\"bad-block\"],\"tanks\":[]") && says(get("/v1/state"), "\"node\":\"upper-barn\""));
  CHECK(refused(put(1, 6), 403, "unknown-key"));
  CHECK(status_in(post("/v1/rest")) == 200);  // its name is whole: it can be spoken to
}

// One that names a pin that the chip has not, or that its flash is wired to: none of it is controlled, not even what could be.
static void a_block_for_other_pins_is_a_bad_one() {
  static uint8_t lacks;
  static bool only_as_output;
  const uint8_t pins[] = {2, 10, 12};
  for (const uint8_t pin : pins) {
    first_flash();
    lacks = pin;
    only_as_output = pin != 12;
    w.port.has_pin = [](void *, uint8_t asked, bool drives) { return asked != lacks || (only_as_output && !drives); };
    memset(w.level_high, 0, sizeof w.level_high);
    const bool named = pin == 10;  // 2 is a probe's, which is not driven; 12 is nobody's
    CHECK(boot() == !named);
    pass_ms(100000);
    CHECK(w.level_high[10] == !named && !w.level_high[11] == named);
    CHECK(says(get("/v1/state"), "\"faults\":[\"bad-block\"]") == named);
    w.port.has_pin = nullptr;
  }
}

static void a_block_without_a_name_proves_nothing() {
  first_flash();
  w.block.node[0] = '\xFF';
  CHECK(!boot());
  settle();
  CHECK(w.announced == 0 && says(get("/v1/state"), "\"node\":\"\""));
  CHECK(refused(post("/v1/rest"), 401, "bad-signature"));
}

static void a_bad_block_on_trial_can_be_told_to_go_back() {
  fresh();
  put(1, 6);
  pass_ms(1000);
  w.block.crc32 ^= 1;
  CHECK(!boot());
  settle();
  CHECK(status_in(post("/v1/put-back")) == 202);
  pass_ms(1000);
  CHECK(w.restarts == 1);
}

static void a_bad_block_on_trial_falls_back() {
  fresh();
  put(1, 6);
  pass_ms(1000);
  w.block.crc32 ^= 1;
  CHECK(!boot());
  pass_ms(301000);
  CHECK(w.restarts == 1);
  w.block.crc32 ^= 1;
  CHECK(boot());
  CHECK(w.area == 0);
}

// The rest of it is in network_test.cpp; here the stack is measured, too.
static void new_network_credentials_are_taken_and_kept() {
  fresh();
  CHECK(status_in(give_network()) == 202 && on_trial());
  w.air[0] = kNewName;
  pass_ms(2000);
  CHECK(on(tn::Which::kNew) && status_in(post("/v1/network")) == 200 && !on_trial());
  CHECK(status_in(give_network()) == 202 && boot() && on_trial());
}

static void without_credentials_nothing_changing_is_believed() {
  first_flash();
  w.flash.flash.erase(&w.flash, kSmallTwoSlot.credentials[0].at);
  CHECK(!boot());
  settle();
  CHECK(says(get("/v1/state"), "\"faults\":[\"no-key\"]"));
  memset(w.node_key, 0, sizeof w.node_key);
  CHECK(refused(post("/v1/rest"), 401, "bad-signature"));
  memset(w.node_key, 0xFF, sizeof w.node_key);
  CHECK(refused(put(1, 6), 401, "bad-signature"));
}

static void without_a_record_control_still_runs() {
  first_flash();
  w.flash.flash.erase(&w.flash, kSmallTwoSlot.records[0].at);
  w.flash.flash.erase(&w.flash, kSmallTwoSlot.records[1].at);
  CHECK(!node.begin(&w.port, &w.block, &kSmallTwoSlot, 0));
  pass_ms(61000);
  CHECK(w.level_high[10]);
  CHECK(says(get("/v1/state"), "\"faults\":[\"no-record\"]") && says(get("/v1/state"), "\"image\":\"0000000000000000"));
  CHECK(refused(put(1, 6), 500, "flash-failed"));
  CHECK(refused(post("/v1/keep"), 409, "not-on-trial"));
}

// Four peers that send random pieces of requests, stall, close; the node must neither crash, nor leave a socket open for ever, nor
// let the pumps break a rule.
static void random_peers_are_survived(uint32_t first_seed, uint32_t count) {
  const char *const pieces[] = {"GET /v1/state HTTP/1.1\r\n", "Host: a\r\n", "\r\n", "PUT /v1/image HTTP/1.1\r\n", "xyz", "\r\n\r\n",
                                "Content-Length: 7001\r\n", "Expect: 100-continue\r\n", "Signature: tank=:AAAA:\r\n", ": \x01"};
  for (uint32_t seed = first_seed; seed < first_seed + count; ++seed) {
    uint32_t random = seed;
    auto next = [&random](uint32_t below) {
      random = random * 1664525u + 1013904223u;
      return (random >> 8) % below;
    };
    const int failed = check_failed;
    fresh();
    for (int turn = 0; turn < 400; ++turn) {
      if (next(4) == 0) w.knocking = 1;
      for (int i = 0; i < kSockets; ++i) {
        Socket &s = w.sockets[i];
        if (!s.open || s.in_n > sizeof s.in - 100) continue;
        const char *piece = pieces[next(10)];
        if (next(3) == 0) give(i, piece, strlen(piece));
        if (next(30) == 0) s.peer_closed = true;
        s.stuck = next(4) == 0;
      }
      w.now_ms += next(700);
      w.process_ms += next(700);
      node.step();
      CHECK(!w.level_high[10] || w.process_ms > 60000);
    }
    w.knocking = 0;
    for (Socket &s : w.sockets) s.stuck = true;
    pass_ms(125000);
    for (Socket &s : w.sockets) CHECK(!s.open);
    if (check_failed != failed) {
      printf("seed %u\n", seed);
      return;
    }
  }
}

// Argument: a seed to replay.
int main(int count, char **arguments) {
  if (count > 1) {
    check_test = "random_peers_are_survived";
    random_peers_are_survived(static_cast<uint32_t>(strtoul(arguments[1], nullptr, 10)), 1);
    return check_result();
  }
  RUN(state_and_metrics_are_served);
  RUN(wrong_paths_and_methods);
  RUN(a_head_that_is_too_long_is_refused);
  RUN(a_good_image_is_taken_tried_and_kept);
  RUN(go_ahead_comes_only_after_signature_and_ticket);
  RUN(image_in_single_bytes);
  RUN(trust_is_refused_for_each_reason);
  RUN(sizes_and_digests_are_refused);
  RUN(flash_that_fails_is_reported);
  RUN(a_replayed_request_is_refused);
  RUN(the_nonce_changes_exactly_when_used);
  RUN(a_post_with_another_digest_is_refused);
  RUN(answers_are_signed_on_demand);
  RUN(a_trial_that_nobody_keeps_ends_by_itself);
  RUN(a_pump_that_runs_when_the_trial_ends_is_put_off);
  RUN(process_time_does_not_shorten_the_trial);
  RUN(a_node_that_would_not_come_back_takes_no_image);
  RUN(put_back_goes_back);
  RUN(the_restart_follows_within_a_second_even_if_the_answer_does_not_get_out);
  RUN(healthy_after_thirty_seconds_with_the_network_up);
  RUN(pump_is_off_while_updating);
  RUN(a_transfer_that_falls_silent_is_dropped);
  RUN(rest_stops_the_pump);
  RUN(control_goes_on_while_four_connections_hang);
  RUN(a_byte_now_and_then_does_not_hold_a_connection);
  RUN(slow_readers_hold_only_the_rooms_for_long_answers);
  RUN(a_long_answer_is_of_one_moment);
  RUN(losing_the_network_drops_connections_and_coming_back_announces);
  RUN(a_bad_block_controls_nothing_and_says_so);
  RUN(a_block_for_other_pins_is_a_bad_one);
  RUN(a_block_without_a_name_proves_nothing);
  RUN(a_bad_block_on_trial_can_be_told_to_go_back);
  RUN(a_bad_block_on_trial_falls_back);
  RUN(new_network_credentials_are_taken_and_kept);
  RUN(without_credentials_nothing_changing_is_believed);
  RUN(without_a_record_control_still_runs);
  check_test = "random_peers_are_survived";
  random_peers_are_survived(1, 60);
  return check_result();
}
