// The network that goes away, and the serial console: docs/node-interface.md section 10.
#include "check.h"
#include "node_world.h"

namespace {

using namespace world;

bool shown(const char *what) { return strstr(w.shown, what) != nullptr; }

void fresh() {
  first_flash();
  CHECK(boot());
}

void it_joins_what_it_was_given_and_says_hello() {
  fresh();
  w.network_up = false;
  for (int i = 0; i < 40; ++i) node.step();
  CHECK(w.joins == 1 && w.radio_offs == 0 && strcmp(w.joined_to, "barn-wifi") == 0);
  CHECK(strcmp(w.shown, "tank node upper-barn: type `help`\r\n") == 0);
  w.network_up = true;
  pass_ms(600000);
  CHECK(w.joins == 1 && w.radio_offs == 0);
}

// At 0, 10, 30, 70, 150, 310, 470, ... s after the loss is noticed, with pauses of 10, 20, 40, 80 and then 160 s.
void it_seeks_with_growing_pauses() {
  fresh();
  w.network_up = false;
  pass_ms(9900);
  CHECK(w.joins == 1);
  pass_ms(200);
  CHECK(w.joins == 2);
  pass_ms(20000);
  CHECK(w.joins == 3);
  pass_ms(280000);
  CHECK(w.joins == 6);
  pass_ms(160000);
  CHECK(w.joins == 7 && w.radio_offs == 0);
}

void lost_for_too_long_it_waits_with_the_radio_off_and_looks_now_and_then() {
  fresh();
  pass_ms(1000);
  w.network_up = false;
  pass_ms(1790000);
  CHECK(w.radio_offs == 0);
  pass_ms(11000);
  CHECK(w.radio_offs == 1 && w.joined_to[0] == '\0');
  const int joins = w.joins;
  pass_ms(899000);
  CHECK(w.joins == joins && w.radio_offs == 1);
  pass_ms(2000);
  CHECK(w.joins == joins + 1 && strcmp(w.joined_to, "barn-wifi") == 0);
  pass_ms(60000);
  CHECK(w.joins == joins + 1 && w.radio_offs == 2);
  pass_ms(899000);
  w.network_up = true;  // it comes back during a look
  pass_ms(2000);
  CHECK(status_in(get("/v1/state")) == 200);
  type("state\r");
  CHECK(shown("network barn-wifi, joined for "));
}

void zero_means_seek_for_ever() {
  first_flash();
  w.block.network_lost_s = 0;
  seal(&w.block);
  CHECK(boot());
  w.network_up = false;
  pass_ms(4000000);
  CHECK(w.radio_offs == 0 && w.joins > 20);
}

void the_pump_is_controlled_while_the_network_is_lost() {
  fresh();
  w.network_up = false;
  pass_ms(75000);  // power-up hold and shortest off time are over
  CHECK(w.level_high[10]);
  pass_ms(2000000);
  CHECK(w.radio_offs == 1);
  for (uint8_t pin = 1; pin <= 3; ++pin) w.wet[pin] = true;
  pass_ms(5000);
  CHECK(!w.level_high[10]);
}

void no_key_no_network() {
  first_flash();
  CHECK(w.flash.flash.erase(w.flash.flash.ctx, kSmallTwoSlot.credentials[0].at));
  CHECK(!boot());
  w.network_up = false;
  pass_ms(60000);
  CHECK(w.joins == 0);
  type("faults\r");
  CHECK(shown("no-key: flash over USB") && shown("network away: `join` looks now"));
}

void it_shows_state_and_faults_and_help() {
  fresh();
  pass_ms(5000);
  type("state\r\n");
  CHECK(shown("node upper-barn\r\n") && shown("release 1.4.0, board esp32-devkit\r\n"));
  CHECK(shown(", kept, no older image\r\n") && shown("network barn-wifi, joined for 4 s\r\n"));
  CHECK(shown("tank header: level 0, pump relay off, power-up-hold\r\n") && shown("tank sump: level 0"));
  type("faults\n");
  CHECK(strcmp(w.shown, "none\r\n") == 0);
  w.wet[3] = true;  // `full` wet, the lower ones dry
  pass_ms(5000);
  type("faults\n");
  CHECK(strcmp(w.shown, "tank header: contradictory: a probe is dry below a wet one; look at both\r\n") == 0);
  type("help\n");
  const char *const words[] = {"help", "state", "faults", "join", "clear", "restart", "back"};
  for (const char *word : words) CHECK(shown(word));
}

void a_word_that_is_none_does_nothing() {
  fresh();
  type("restart now\r");
  CHECK(shown("not a word of this console"));
  type("RESTART\r");
  CHECK(shown("not a word of this console"));
  type("restartrestartrestartrestart\r");
  CHECK(shown("not a word of this console"));
  type("\r\n\r\n");
  CHECK(w.shown_n == 0);
  type("\xff\x01 state\r");
  CHECK(shown("not a word of this console") && w.restarts == 0);
  type("state\r");
  CHECK(shown("node upper-barn"));
}

void restart_puts_the_pump_off_first() {
  fresh();
  pass_ms(75000);
  CHECK(w.level_high[10]);
  type("restart\r");
  CHECK(shown("starting again\r\n") && !w.level_high[10] && w.restarts == 0);
  pass_ms(1100);
  CHECK(w.restarts == 1 && w.goodbyes == 1 && !w.level_high[10]);
}

void back_goes_to_the_older_image_or_says_why_not() {
  fresh();
  type("back\r");
  CHECK(shown("There is no older image\r\n") && w.restarts == 0);
  CHECK(status_in(put(1, 6)) == 202);
  pass_ms(1100);
  boot();
  CHECK(facts().phase == tn::Phase::kOnTrial);
  type("back\r");
  CHECK(shown("going back to the older image\r\n"));
  pass_ms(1100);
  CHECK(w.restarts == 1);
  boot();
  CHECK(facts().phase == tn::Phase::kPutBack && facts().sequence == 5 && facts().last_reason == tn::Reason::kTold);
}

void join_looks_at_once() {
  fresh();
  type("join\r");
  CHECK(shown("joined already\r\n"));
  w.network_up = false;
  pass_ms(1900000);
  const int joins = w.joins;
  type("join\r");
  CHECK(shown("looking for the network\r\n") && w.joins == joins + 1);
  pass_ms(1000000);
  CHECK(w.radio_offs == 1);  // it seeks anew for the full time
}

// Random bytes at the console change nothing, and what is printed never holds a secret.
void noise_is_survived_and_no_secret_is_shown() {
  fresh();
  uint32_t random = 1;
  static char all[sizeof w.shown];
  for (int turn = 0; turn < 3000; ++turn) {
    char text[60];
    const char *const words[] = {"help", "state", "faults", "join", "passphrase", "key", "", "%s%n"};
    for (char &c : text) c = static_cast<char>((random = random * 1664525u + 1013904223u) >> 24);
    text[59] = '\0';
    if (turn % 2 == 0) snprintf(text, sizeof text, "%s\r", words[(random >> 16) % 8]);
    w.console_room = random % 9;
    type(text);
    memcpy(all, w.shown, sizeof all);
    CHECK(strstr(all, "not-to-be-shown") == nullptr && strstr(all, "ZZZZ") == nullptr && strstr(all, "5a5a5a") == nullptr);
    CHECK(strstr(all, nonce()) == nullptr);
    for (size_t i = 0; i < w.shown_n; ++i) CHECK(all[i] == '\r' || all[i] == '\n' || (all[i] >= ' ' && all[i] <= '~'));
  }
  CHECK(w.restarts == 0);
}

void the_largest_block_fits_its_lines() {
  first_flash();
  w.block = largest_block();
  memcpy(w.block.signing_key, w.key.point, 65);
  seal(&w.block);
  CHECK(boot());
  w.console_room = 200;
  w.network_up = false;
  pass_ms(5000);
  w.wet[3] = true;  // the highest mark of its first tank
  pass_ms(5000);
  const char *const words[] = {"state\r", "help\r", "faults\r"};
  for (const char *word : words) {
    type(word);
    const char *at = w.shown;
    CHECK(*at != '\0');
    for (const char *end = strstr(at, "\r\n"); end != nullptr; end = strstr(at, "\r\n")) {
      CHECK(end > at && static_cast<size_t>(end - at) < tn::kConsoleLineBytes - 2);
      at = end + 2;
    }
    CHECK(*at == '\0');
  }
  CHECK(shown("tttt: contradictory: a probe is dry below a wet one; look at both\r\n"));
}

}  // namespace

int main() {
  RUN(it_joins_what_it_was_given_and_says_hello);
  RUN(it_seeks_with_growing_pauses);
  RUN(lost_for_too_long_it_waits_with_the_radio_off_and_looks_now_and_then);
  RUN(zero_means_seek_for_ever);
  RUN(the_pump_is_controlled_while_the_network_is_lost);
  RUN(no_key_no_network);
  RUN(it_shows_state_and_faults_and_help);
  RUN(a_word_that_is_none_does_nothing);
  RUN(restart_puts_the_pump_off_first);
  RUN(back_goes_to_the_older_image_or_says_why_not);
  RUN(join_looks_at_once);
  RUN(noise_is_survived_and_no_secret_is_shown);
  RUN(the_largest_block_fits_its_lines);
  return check_result();
}
