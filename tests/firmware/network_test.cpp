// New network credentials over the network: what is taken and what is refused, the trial in every order of events, and the way back.
#include "network_world.h"

using namespace world;

namespace {

using tn::NetworkPhase;
using tn::Which;

void fresh() {
  first_flash();
  w.air[0] = kOldName;
  CHECK(boot());
  settle();
  pass_ms(1000);
  CHECK(on(Which::kKept));
}

void air(const char *one, const char *other = nullptr) {
  w.air[0] = one == nullptr ? "another's" : one;
  w.air[1] = other;
}

bool in_flash(const char *what) {
  const size_t n = strlen(what);
  for (const tn::Area &area : kSmallTwoSlot.credentials)
    for (uint32_t i = 0; i + n <= area.bytes; ++i)
      if (memcmp(w.flash.cells + area.at + i, what, n) == 0) return true;
  return false;
}

bool given() {
  const char *text = give_network();
  return status_in(text) == 202 && says(text, "{\"ok\":true,\"phase\":\"kept\"}");
}

}  // namespace

static void new_credentials_are_tried_and_kept() {
  fresh();
  air(kOldName, kNewName);
  CHECK(given() && on_trial() && on(Which::kKept));
  CHECK(says(get("/v1/state"), "\"network\":{\"phase\":\"on-trial\",\"on\":\"kept\",\"trial_left_s\":600,\"bssid\":null,\"channel\":null}"));
  CHECK(refused(post("/v1/network"), 409, "not-on-trial"));  // not seen to work yet
  pass_ms(900);
  CHECK(w.radio_offs == 0);
  pass_ms(200);
  CHECK(w.radio_offs == 1 && strcmp(w.joined_to, kNewName) == 0 && strcmp(w.joined_with, kNewPassphrase) == 0);
  CHECK(on(Which::kNew) && says(get("/v1/state"), "\"network\":{\"phase\":\"on-trial\",\"on\":\"new\",\"trial_left_s\":599,\"bssid\":null,\"channel\":null}"));
  pass_ms(300000);
  const int joins = w.joins;
  CHECK(on(Which::kNew) && status_in(post("/v1/network")) == 200);
  CHECK(says(get("/v1/state"), "\"network\":{\"phase\":\"kept\",\"on\":\"kept\",\"trial_left_s\":0,\"bssid\":null,\"channel\":null}"));
  CHECK(!in_flash(kOldPassphrase) && in_flash(kNewPassphrase));
  pass_ms(600000);
  CHECK(w.joins == joins && network().phase == NetworkPhase::kKept);
  CHECK(refused(post("/v1/network"), 409, "not-on-trial"));
  CHECK(boot());
  pass_ms(1000);
  CHECK(strcmp(w.joined_to, kNewName) == 0 && on(Which::kKept));
}

static void credentials_that_do_not_join_are_put_back() {
  fresh();
  CHECK(given());
  pass_ms(2000);
  CHECK(strcmp(w.joined_to, kNewName) == 0 && !network().joined);
  pass_ms(28000);
  CHECK(!network().joined);
  pass_ms(2000);
  CHECK(on(Which::kKept) && w.radio_offs == 1);  // out of reach for half a minute
  CHECK(refused(post("/v1/network"), 409, "not-on-trial"));
  const int joins = w.joins;
  pass_ms(560000);
  CHECK(on_trial() && in_flash(kNewPassphrase));
  pass_ms(10000);
  CHECK(w.joins == joins && w.radio_offs == 1 && on(Which::kKept));
  CHECK(says(get("/v1/state"), "\"network\":{\"phase\":\"put-back\",\"on\":\"kept\",\"trial_left_s\":0,\"bssid\":null,\"channel\":null}"));
  CHECK(!in_flash(kNewPassphrase) && in_flash(kOldPassphrase));
  air(kOldName, kNewName);
  CHECK(given());  // it may be tried again
  pass_ms(2000);
  CHECK(on(Which::kNew) && status_in(post("/v1/network")) == 200);
}

// The network changes at any second of the trial, from before the nodes are told to near its end.
static void it_does_not_matter_when_the_access_point_changes() {
  for (int change_s = 0; change_s < 200; change_s += 7) {
    fresh();
    CHECK(given());
    if (change_s == 0) air(kNewName);
    bool seen = false;
    int away_s = 0, longest_away_s = 0;
    for (int s = 1; s < 290; ++s) {
      pass_ms(1000);
      if (s == change_s) air(kNewName);
      away_s = network().joined ? 0 : away_s + 1;
      if (away_s > longest_away_s) longest_away_s = away_s;
      if (on(Which::kNew) && !seen) seen = status_in(post("/v1/network")) == 200;
    }
    CHECK(seen && longest_away_s <= 62 && network().phase == NetworkPhase::kKept);
  }
}

static void the_old_one_is_joined_after_the_trial_when_both_were_away() {
  fresh();
  CHECK(given());
  air(nullptr);
  pass_ms(2000);
  const int offs = w.radio_offs;
  int news = 0, olds = 0;
  for (int i = 0; i < 19; ++i) {
    pass_ms(30000);
    if (strcmp(w.joined_to, kNewName) == 0) ++news;
    if (strcmp(w.joined_to, kOldName) == 0) ++olds;
  }
  CHECK(news >= 9 && olds >= 9 && w.radio_offs == offs);  // by turns, and never waiting
  pass_ms(40000);
  CHECK(network().phase == NetworkPhase::kPutBack && strcmp(w.joined_to, kOldName) == 0 && !in_flash(kNewPassphrase));
  pass_ms(3000000);
  CHECK(w.joined_to[0] == '\0');  // as ever: waiting
}

static void joined_by_the_new_one_and_never_told_it_goes_back() {
  fresh();
  air(kOldName, kNewName);
  CHECK(given());
  pass_ms(2000);
  CHECK(on(Which::kNew));
  pass_ms(599000);
  CHECK(on(Which::kKept) && network().phase == NetworkPhase::kPutBack && strcmp(w.joined_to, kOldName) == 0);
}

static void a_start_begins_the_time_anew_and_the_fourth_puts_back() {
  fresh();
  CHECK(given());
  for (int start = 1; start <= 3; ++start) {
    CHECK(boot() && on_trial() && network().left_ms == 600000);
    settle();
    CHECK(strcmp(w.joined_to, kNewName) == 0);  // first of all
    pass_ms(31000);
    CHECK(on(Which::kKept));
  }
  CHECK(boot() && network().phase == NetworkPhase::kPutBack && !in_flash(kNewPassphrase));
  settle();
  CHECK(strcmp(w.joined_to, kOldName) == 0);
}

static void a_second_request_begins_the_trial_anew() {
  fresh();
  air(kOldName, kNewName);
  CHECK(given());
  pass_ms(300000);
  CHECK(on(Which::kNew) && boot());
  pass_ms(1000);
  CHECK(status_in(give_network("hill-wifi", "a third one here", 90)) == 202 && network().left_ms == 90000);
  CHECK(!on(Which::kNew) && refused(post("/v1/network"), 409, "not-on-trial"));  // on what was new before
  pass_ms(1100);
  CHECK(strcmp(w.joined_to, "hill-wifi") == 0 && !network().joined);
  pass_ms(60000);
  CHECK(on(Which::kKept) && strcmp(w.joined_to, kOldName) == 0);
  pass_ms(30000);
  CHECK(network().phase == NetworkPhase::kPutBack && !in_flash(kNewPassphrase) && !in_flash("a third one here"));
}

static void every_flipped_bit_is_refused() {
  fresh();
  Give good;
  make_give(&good, sealed::text_of(kNewName, kNewPassphrase, 600));
  for (size_t bit = 0; bit < 8 * tn::kNetworkBodyBytes; ++bit) {
    Give g = good;
    sign_give(&g);
    g.body.at[bit / 8] = static_cast<unsigned char>(g.body.at[bit / 8] ^ 1u << bit % 8);
    CHECK(refused(give_request(g), 422, "wrong-digest"));
    sign_give(&g);  // and by somebody who can sign
    CHECK(refused(give_request(g), 403, "bad-credentials"));
  }
  CHECK(network().phase == NetworkPhase::kKept && on(Which::kKept) && !in_flash(kNewPassphrase));
}

static void other_lengths_are_refused() {
  fresh();
  Give g;
  make_give(&g, sealed::text_of(kNewName, kNewPassphrase, 600));
  for (size_t n = 0; n < tn::kNetworkBodyBytes; ++n) {
    sign_give(&g);
    CHECK(refused(give_request(g, n), 422, "wrong-size"));  // it ends early
    sign_give(&g);
    g.request.length = n;
    CHECK(refused(give_request(g, n), 422, "wrong-size"));  // and says so
  }
  unsigned char text[4097];
  sign_give(&g);
  const size_t n = write_give(g, text);
  text[n] = 0;
  CHECK(refused(ask(text, n + 1), 422, "wrong-size"));
  sign_give(&g);
  g.request.length = tn::kNetworkBodyBytes + 1;
  CHECK(refused(give_request(g), 422, "wrong-size"));
  sign_give(&g);
  g.request.has_length = false;
  CHECK(refused(give_request(g, 0), 411, "length-required"));
  CHECK(network().phase == NetworkPhase::kKept);
}

static void it_may_come_in_any_pieces() {
  for (size_t piece = 1; piece < 140; piece = piece < 10 ? piece + 1 : piece * 2) {
    fresh();
    Give g;
    make_give(&g, sealed::text_of(kNewName, kNewPassphrase, 600));
    unsigned char text[4096];
    const size_t n = write_give(g, text);
    const int i = dial();
    for (size_t at = 0; at < n; at += piece) {
      give(i, text + at, n - at < piece ? n - at : piece);
      node.step();
    }
    settle();
    CHECK(status_in(answer(i)) == 202 && on_trial());
  }
}

static void it_waits_for_the_go_ahead_if_it_is_asked_to() {
  fresh();
  Give g;
  make_give(&g, sealed::text_of(kNewName, kNewPassphrase, 600));
  g.request.more = "Expect: 100-continue\r\n";
  unsigned char text[4096];
  const int i = dial();
  give(i, text, write_give(g, text, 0));
  settle();
  CHECK(says(w.sockets[i].out, "HTTP/1.1 100 Continue\r\n\r\n") && !on_trial());
  give(i, g.body.at, sizeof g.body.at);
  settle();
  CHECK(on_trial() && says(answer(i), "HTTP/1.1 202 "));
}

static void replayed_it_is_refused() {
  fresh();
  Give g;
  make_give(&g, sealed::text_of(kNewName, kNewPassphrase, 600));
  CHECK(status_in(give_request(g)) == 202);
  CHECK(refused(give_request(g), 401, "nonce-used"));
  sign_give(&g);
  g.request.key[0] ^= 1;
  CHECK(refused(give_request(g), 401, "bad-signature"));
  const char unsigned_request[] = "PUT /v1/network HTTP/1.1\r\nHost: a\r\nContent-Length: 127\r\n\r\n";
  CHECK(refused(ask(unsigned_request, strlen(unsigned_request)), 401, "no-signature"));
  CHECK(says(get("/v1/network"), "Allow: PUT, POST\r\n"));
}

static void what_is_sealed_for_another_node_is_refused() {
  fresh();
  Give g;
  make_give(&g, sealed::text_of(kNewName, kNewPassphrase, 600), "lower-barn");
  CHECK(refused(give_request(g), 403, "bad-credentials"));
}

static void what_cannot_be_is_refused() {
  fresh();
  char most[64];
  snprintf(most, sizeof most, "%063d", 1);
  sealed::Text texts[12];
  for (sealed::Text &text : texts) text = sealed::text_of(kNewName, kNewPassphrase, 600);
  texts[0] = sealed::text_of("", kNewPassphrase, 600);
  texts[1] = sealed::text_of(kNewName, "seven77", 600);
  texts[2] = sealed::text_of(kNewName, kNewPassphrase, 59);
  texts[3] = sealed::text_of(kNewName, kNewPassphrase, 0);
  texts[4] = sealed::text_of(kNewName, "with a \x1f in it", 600);
  texts[5] = sealed::text_of(kNewName, "not ascii: \xc3\xa9", 600);
  memset(texts[6].at, 'n', 33);                    // a name without an end
  memset(texts[7].at + 33, 'p', 64);               // a passphrase without one
  texts[8].at[32] = 'x';                           // something behind the end
  texts[9].at[33 + 63] = 'x';
  texts[10].at[20] = ' ';
  texts[11] = sealed::text_of(kNewName, "\x7f\x7f\x7f\x7f\x7f\x7f\x7f\x7f", 600);
  for (const sealed::Text &text : texts) {
    Give g;
    make_give(&g, text);
    CHECK(refused(give_request(g), 403, "bad-credentials"));
  }
  CHECK(network().phase == NetworkPhase::kKept);
  CHECK(status_in(give_network("n", "", 60)) == 202);  // an open network
  CHECK(status_in(give_network("north-field-barns-and-paddocks-2", most, 65535)) == 202);
  CHECK(network().left_ms == 65535000);
}

static void it_is_busy_while_an_image_is_taken() {
  fresh();
  Put p;
  make_put(&p, 1, 6);
  static char text[16384];
  const size_t n = sign::write_head(p.request, text, sizeof text);
  const int i = dial();
  give(i, text, n);
  give(i, w.images[1], 100);
  settle();
  CHECK(refused(give_network(), 409, "busy"));
  give(i, w.images[1] + 100, kImageN - 100);
  settle();
  CHECK(status_in(answer(i)) == 202);  // the image is none the worse
  CHECK(refused(give_network(), 409, "busy") || !network().joined || network().phase == NetworkPhase::kKept);
}

static void two_at_once_do_not_mix() {
  fresh();
  Give one, two;
  unsigned char text[4096];
  make_give(&one, sealed::text_of(kNewName, kNewPassphrase, 600));
  const size_t n = write_give(one, text);
  const int i = dial();
  give(i, text, n - 60);
  settle();
  make_give(&two, sealed::text_of("hill-wifi", "a third one here", 90));
  CHECK(status_in(give_request(two)) == 202 && network().left_ms == 90000);
  give(i, text + n - 60, 60);
  settle();
  CHECK(status_in(answer(i)) == 202 && network().left_ms == 600000);
}

static void a_flash_that_fails_changes_nothing() {
  fresh();
  w.flash.fails = true;
  CHECK(refused(give_network(), 500, "flash-failed"));
  CHECK(says(get("/v1/state"), "\"faults\":[\"flash-failed\"]") && network().phase == NetworkPhase::kKept);
  w.flash.fails = false;
  air(kOldName, kNewName);
  CHECK(given() && says(get("/v1/state"), "\"faults\":[]"));
  pass_ms(2000);
  w.flash.fails = true;
  CHECK(refused(post("/v1/network"), 500, "flash-failed") && on_trial() && on(Which::kNew));
  pass_ms(600000);
  CHECK(on_trial() && network().left_ms == 0);  // cannot be put back: both are held, and it is tried again
  w.flash.fails = false;
  pass_ms(62000);
  CHECK(network().phase == NetworkPhase::kPutBack && on(Which::kKept));
}

static void an_image_on_trial_does_not_mind() {
  fresh();
  air(kOldName, kNewName);
  CHECK(status_in(put(1, 6)) == 202);
  pass_ms(1100);
  CHECK(boot());
  settle();
  const char *text = give_network();
  CHECK(status_in(text) == 202 && says(text, "\"phase\":\"on-trial\""));
  pass_ms(2000);
  CHECK(on(Which::kNew) && status_in(post("/v1/keep")) == 200 && on_trial());
  CHECK(status_in(post("/v1/network")) == 200 && facts().phase == tn::Phase::kKept);
}

static void the_pump_is_controlled_throughout() {
  fresh();
  w.wet[4] = true;  // sump between its marks
  pass_ms(61000);
  CHECK(w.level_high[10]);
  CHECK(given());
  pass_ms(15000);
  CHECK(!network().joined && w.level_high[10]);
  for (uint8_t pin = 1; pin <= 3; ++pin) w.wet[pin] = true;  // full
  pass_ms(2600);
  CHECK(!network().joined && !w.level_high[10]);
  for (uint8_t pin = 1; pin <= 3; ++pin) w.wet[pin] = false;  // and empty again
  pass_ms(120000);
  CHECK(on_trial() && w.level_high[10]);
  CHECK(boot() && on_trial() && !w.level_high[10]);
  pass_ms(75000);
  CHECK(on_trial() && w.level_high[10]);
  for (uint8_t pin = 1; pin <= 3; ++pin) w.wet[pin] = true;
  pass_ms(3000);
  CHECK(!w.level_high[10]);
}

static void nothing_shows_a_passphrase() {
  fresh();
  air(kOldName, kNewName);
  char all[60000] = "";
  strcat(all, give_network());
  for (int turn = 0; turn < 2; ++turn) {
    strcat(all, get("/v1/state"));
    strcat(all, get("/metrics"));
    w.shown_n = 0;
    strcpy(w.typed, "state\rfaults\rhelp\r");
    w.typed_n = strlen(w.typed);
    w.typed_at = 0;
    for (int i = 0; i < 400; ++i) node.step();
    strcat(all, w.shown);
    pass_ms(2000);
  }
  CHECK(says(all, "network barn-wifi, joined for ") && says(all, "new network yard-wifi, joined, on trial for 598 s more\r\n"));
  CHECK(says(all, "new network yard-wifi, not joined, on trial for 600 s more\r\n"));
  strcat(all, post("/v1/network"));
  strcat(all, get("/v1/state"));
  CHECK(!says(all, kOldPassphrase) && !says(all, kNewPassphrase));
}

static void without_credentials_it_is_not_believed() {
  first_flash();
  for (const tn::Area &area : kSmallTwoSlot.credentials) CHECK(w.flash.flash.erase(w.flash.flash.ctx, area.at));
  CHECK(!boot());
  settle();
  CHECK(refused(give_network(), 401, "bad-signature") && refused(post("/v1/network"), 401, "bad-signature"));
  CHECK(says(get("/v1/state"), "\"network\":{\"phase\":\"kept\",\"on\":null,\"trial_left_s\":0,\"bssid\":null,\"channel\":null}"));
}

int main() {
  RUN(new_credentials_are_tried_and_kept);
  RUN(credentials_that_do_not_join_are_put_back);
  RUN(it_does_not_matter_when_the_access_point_changes);
  RUN(the_old_one_is_joined_after_the_trial_when_both_were_away);
  RUN(joined_by_the_new_one_and_never_told_it_goes_back);
  RUN(a_start_begins_the_time_anew_and_the_fourth_puts_back);
  RUN(a_second_request_begins_the_trial_anew);
  RUN(every_flipped_bit_is_refused);
  RUN(other_lengths_are_refused);
  RUN(it_may_come_in_any_pieces);
  RUN(it_waits_for_the_go_ahead_if_it_is_asked_to);
  RUN(replayed_it_is_refused);
  RUN(what_is_sealed_for_another_node_is_refused);
  RUN(what_cannot_be_is_refused);
  RUN(it_is_busy_while_an_image_is_taken);
  RUN(two_at_once_do_not_mix);
  RUN(a_flash_that_fails_changes_nothing);
  RUN(an_image_on_trial_does_not_mind);
  RUN(the_pump_is_controlled_throughout);
  RUN(nothing_shows_a_passphrase);
  RUN(without_credentials_it_is_not_believed);
  return check_result();
}
