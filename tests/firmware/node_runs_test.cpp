// Faults that stay until a person clears them, and runs that are counted across restarts, in a whole node.
#include "network_world.h"

using namespace world;

namespace {

constexpr uint8_t kButton = 20;

// Header tank empty, its pump runs; nothing changes for its no-rise time.
void let_it_run_dry() {
  w.wet[4] = true;  // sump between its marks
  pass_ms(61000);
  CHECK(w.level_high[10]);
  pass_ms(310000);
  CHECK(!w.level_high[10] && says(get("/v1/state"), "\"fault\":\"no-rise\""));
}

void fresh(bool with_button = false) {
  first_flash();
  w.block.clear_pin = with_button ? kButton : tn::kNoPin;
  seal(&w.block);
  CHECK(boot());
  settle();
}

bool latched() { return says(get("/v1/state"), "\"fault\":\"no-rise\"") && !w.level_high[10]; }
bool pumps_within(uint64_t ms) {
  pass_ms(ms);
  return w.level_high[10] && says(get("/v1/state"), "\"fault\":\"none\"");
}

void start_again() {
  w.shown_n = 0;  // it says hello each time
  CHECK(boot());
  settle();
}

const uint8_t *run_area() { return w.flash.cells + kSmallTwoSlot.runs.at; }

void hold(uint64_t ms) {
  w.wet[kButton] = true;
  pass_ms(ms);
}
void let_go() {
  w.wet[kButton] = false;
  pass_ms(200);
}

}  // namespace

static void a_fault_outlives_restarts_and_an_update() {
  fresh();
  let_it_run_dry();
  start_again();
  CHECK(latched());
  pass_ms(3600000);
  CHECK(latched());
  CHECK(status_in(put(1, 6)) == 202);
  pass_ms(1000);
  CHECK(w.restarts == 1);
  start_again();
  CHECK(facts().phase == tn::Phase::kOnTrial && latched());
  pass_ms(100000);
  CHECK(status_in(post("/v1/keep")) == 200 && latched());
  CHECK(status_in(post("/v1/put-back")) == 202);
  pass_ms(1000);
  start_again();
  pass_ms(100000);
  CHECK(latched());
}

static void rest_only_rests() {
  fresh();
  let_it_run_dry();
  CHECK(status_in(post("/v1/rest")) == 200);
  pass_ms(700000);
  CHECK(latched());
}

static void a_signed_request_clears_the_fault_of_one_tank() {
  fresh();
  CHECK(refused(post("/v1/clear-fault/1"), 409, "no-fault"));
  let_it_run_dry();
  const char unsigned_one[] = "POST /v1/clear-fault/1 HTTP/1.1\r\nHost: a\r\nContent-Length: 0\r\n\r\n";
  CHECK(refused(ask(unsigned_one, strlen(unsigned_one)), 401, "no-signature"));
  const char *const none[] = {"/v1/clear-fault/3", "/v1/clear-fault/4", "/v1/clear-fault/0", "/v1/clear-fault/5", "/v1/clear-fault/",
                              "/v1/clear-fault", "/v1/clear-fault/11", "/v1/clear-fault/01", "/v1/clear-fault/1/"};
  for (const char *path : none) CHECK(refused(post(path), 404, "not-found"));
  CHECK(refused(get("/v1/clear-fault/1"), 405, "bad-method") && says(get("/v1/clear-fault/1"), "Allow: POST\r\n"));
  CHECK(refused(get("/v1/clear-fault/3"), 404, "not-found"));
  CHECK(refused(post("/v1/clear-fault/2"), 409, "no-fault") && latched());
  const char *const text = post("/v1/clear-fault/1");
  CHECK(status_in(text) == 200 && says(text, "{\"ok\":true,\"phase\":\"kept\"}"));
  CHECK(refused(post("/v1/clear-fault/1"), 409, "no-fault"));
  CHECK(pumps_within(62000));
  start_again();
  CHECK(pumps_within(62000));
}

static void a_word_at_the_console_clears_them_all() {
  fresh();
  type("clear\r");
  CHECK(says(w.shown, "No fault stays that could be cleared\r\n"));
  let_it_run_dry();
  type("faults\r");
  CHECK(strcmp(w.shown, "tank header: no-rise: look at pump, pipe and probes, then `clear`\r\n") == 0);
  type("restart\r");
  pass_ms(1100);
  CHECK(w.restarts == 1);
  start_again();
  CHECK(latched());
  type("clear\r");
  CHECK(says(w.shown, "cleared\r\n") && pumps_within(62000));
}

static void the_button_clears_when_held_for_five_seconds() {
  fresh(true);
  let_it_run_dry();
  hold(4500);
  let_go();
  hold(4900);
  let_go();
  CHECK(latched());
  hold(5300);
  CHECK(says(get("/v1/state"), "\"fault\":\"none\""));
  let_it_run_dry();  // it is still held: once a press
  hold(60000);
  CHECK(latched());
  let_go();
  hold(5300);
  CHECK(says(get("/v1/state"), "\"fault\":\"none\""));
}

// A line that is LOW at the start and stays so, or is a wire to ground: nothing is cleared before it was seen released.
static void a_button_that_was_never_seen_released_clears_nothing() {
  fresh(true);
  let_it_run_dry();
  w.wet[kButton] = true;
  start_again();
  pass_ms(30000);  // it would run dry again later
  CHECK(latched());
  let_go();
  hold(5300);
  CHECK(says(get("/v1/state"), "\"fault\":\"none\""));
}

static void without_a_button_no_pin_is_looked_at() {
  fresh(false);
  let_it_run_dry();
  let_go();
  hold(20000);
  CHECK(latched());
}

static void a_loop_of_brown_outs_clears_nothing_and_writes_nothing() {
  fresh();
  let_it_run_dry();
  static uint8_t before[kSmallRunsBytes];
  memcpy(before, run_area(), sizeof before);
  for (int i = 0; i < 2000; ++i) {
    start_again();
    pass_ms(static_cast<uint64_t>(i % 100) * 50);
    CHECK(!w.level_high[10]);
  }
  CHECK(latched() && memcmp(before, run_area(), sizeof before) == 0);
}

// Probes that never change, a pump that runs on: how long in all, in seconds, with a start each `every_s`. A wanted restart, or power
// that is gone without a word.
static uint64_t on_in_all_s(uint32_t every_s, bool wanted, tn::TankFault *fault) {
  first_flash();
  w.block.tanks[0].longest_run_s = 7200;
  w.block.tanks[0].no_rise_s = 0;
  w.wet[4] = true;
  seal(&w.block);
  uint64_t on_ms = 0;
  tn::NodeView view;
  for (uint64_t s = 0; s < 86400; s += every_s) {
    start_again();
    for (uint32_t ms = 0; ms < every_s * 1000; ms += 250) {
      w.now_ms += 250;
      w.process_ms += 250;
      node.step();
      if (w.level_high[10]) on_ms += 250;
    }
    if (!wanted) continue;
    type("restart\r");
    pass_ms(1100);
    CHECK(w.restarts == 1);
  }
  node.view(&view);
  *fault = view.control->tanks[0].pump.latched;
  return on_ms / 1000;
}

// The longest run is 7200 s. A wanted restart forgets none of it but parts of a second. Power that goes forgets up to 60 s of each
// start's run, which is 60 s (the shortest off time) shorter than the start. It is written when it is 1, 5, 21 and 81 s long, then each
// minute: of 240 s 39 are forgotten, of 260 s 59, and a second later none.
static void dead_probes_and_restarts_make_one_longest_run() {
  tn::TankFault fault;
  const uint32_t starts_s[] = {300, 1800};
  for (const uint32_t every_s : starts_s) {
    const uint64_t wanted_s = on_in_all_s(every_s - 1, true, &fault);
    CHECK(fault == tn::TankFault::kLongestRun && wanted_s >= 7100 && wanted_s <= 7260);
    const uint32_t cuts_s[] = {every_s + 21, every_s + 20, every_s};
    for (const uint32_t cut_every_s : cuts_s) {
      const uint64_t cut_s = on_in_all_s(cut_every_s, false, &fault), a_start_s = cut_every_s - 61;
      CHECK(fault == tn::TankFault::kLongestRun && cut_s >= 7200 && cut_s <= 7200 + 60 * (7200 / (a_start_s - 59) + 1));
      printf("R4: power goes each %u s: on for %llu s in all\n", cut_every_s, static_cast<unsigned long long>(cut_s));
    }
    printf("R4: a wanted restart each %u s: on for %llu s in all\n", every_s, static_cast<unsigned long long>(wanted_s));
  }
}

// Power that goes before a run is a minute long, again and again, as it does where the pump is too much for the supply. The longest run
// is 600 s. Of a start's run a fifth counts at least (1 of 5, 5 of 21, 21 of 81 s: when it is written), so it is 3,000 s on at most.
static void no_loop_of_power_cuts_lets_dead_probes_pump_for_ever() {
  const uint32_t starts_s[] = {63, 64, 70, 81, 82, 100, 119};
  for (const uint32_t every_s : starts_s) {
    first_flash();
    w.wet[4] = true;
    w.block.tanks[0].no_rise_s = 0;
    seal(&w.block);
    uint64_t on_ms = 0;
    for (uint64_t s = 0; s < 86400 && on_ms < 4000000; s += every_s) {
      w.reset = tn::Reset::kBrownOut;
      start_again();
      for (uint32_t ms = 0; ms < every_s * 1000; ms += 250) {
        w.now_ms += 250;
        w.process_ms += 250;
        node.step();
        if (w.level_high[10]) on_ms += 250;
      }
    }
    tn::NodeView view;
    node.view(&view);
    CHECK(view.control->tanks[0].pump.latched == tn::TankFault::kLongestRun && on_ms >= 600000 && on_ms <= 3000000);
    printf("R4: power goes each %u s: on for %llu s in all\n", every_s, static_cast<unsigned long long>(on_ms / 1000));
  }
}

// A pump that needs 210 s to its lowest mark is cut 5 s after it, again and again, and its tank drains each time. The no-rise time is
// 300 s and the longest run 600 s: it trips unless each start knows that the mark was seen. A run begins anew 7 times (run.h).
static void cuts_soon_after_a_mark_trip_no_sound_pump() {
  first_flash();
  w.wet[4] = true;
  for (int i = 0; i < 8; ++i) {
    w.wet[1] = false;
    start_again();
    pass_ms(61000 + 210000);
    CHECK(w.level_high[10]);
    w.wet[1] = true;
    pass_ms(7000);  // 2 s of them are debounce
    CHECK(w.level_high[10] && says(get("/v1/state"), "\"fault\":\"none\""));
  }
}

static void a_board_without_the_area_does_all_else_and_says_so() {
  static tn::Partition old = kSmallTwoSlot;
  old.runs = {0, 0};
  first_flash();
  CHECK(!node.begin(&w.port, &w.block, &old, 0));
  settle();
  CHECK(says(get("/v1/state"), "\"faults\":[\"no-run-record\"]"));
  let_it_run_dry();
  type("faults\r");
  CHECK(says(w.shown, "no-run-record: flash over USB"));
  CHECK(status_in(put(1, 6)) == 202);
  node.begin(&w.port, &w.block, &old, 0);
  pass_ms(100);
  CHECK(says(get("/v1/state"), "\"fault\":\"none\""));  // forgotten, as it said
}

static void a_write_that_fails_is_told_and_made_good() {
  fresh();
  w.wet[4] = true;
  pass_ms(61000);
  w.flash.fails = true;
  pass_ms(310000);
  CHECK(latched() && says(get("/v1/state"), "\"faults\":[\"flash-failed\"]"));
  w.flash.fails = false;
  pass_ms(61000);
  CHECK(latched() && says(get("/v1/state"), "\"faults\":[]"));
  start_again();
  CHECK(latched());
  w.flash.fails = true;
  CHECK(refused(post("/v1/clear-fault/1"), 500, "flash-failed"));  // cleared, but the next start would not know
  w.flash.fails = false;
  pass_ms(61000);
  start_again();
  CHECK(!latched());
}

static void a_damaged_block_leaves_the_record_as_it_is() {
  fresh();
  let_it_run_dry();
  static uint8_t before[kSmallRunsBytes];
  memcpy(before, run_area(), sizeof before);
  w.block.crc32 ^= 1;
  CHECK(!boot());
  settle();
  CHECK(refused(post("/v1/clear-fault/1"), 404, "not-found"));
  type("clear\r");
  pass_ms(100000);
  CHECK(memcmp(before, run_area(), sizeof before) == 0);
  w.block.crc32 ^= 1;
  start_again();
  CHECK(latched());
}

static void brown_outs_are_counted_anew_on_demand() {
  fresh();
  CHECK(refused(post("/v1/clear-brown-outs"), 409, "no-fault"));
  tn::SlotRecord record;
  tn::Newest newest;
  CHECK(tn::read_record(w.flash.flash, kSmallTwoSlot, &record, &newest));
  record.brown_outs = 7;
  CHECK(tn::write_record(w.flash.flash, kSmallTwoSlot, &record, &newest));
  start_again();
  CHECK(says(get("/v1/state"), "\"brown_outs\":7"));
  CHECK(status_in(post("/v1/clear-brown-outs")) == 200 && says(get("/v1/state"), "\"brown_outs\":0"));
  start_again();
  CHECK(says(get("/v1/state"), "\"brown_outs\":0") && refused(post("/v1/clear-brown-outs"), 409, "no-fault"));
  CHECK(refused(get("/v1/clear-brown-outs"), 405, "bad-method"));
}

int main() {
  RUN(a_fault_outlives_restarts_and_an_update);
  RUN(rest_only_rests);
  RUN(a_signed_request_clears_the_fault_of_one_tank);
  RUN(a_word_at_the_console_clears_them_all);
  RUN(the_button_clears_when_held_for_five_seconds);
  RUN(a_button_that_was_never_seen_released_clears_nothing);
  RUN(without_a_button_no_pin_is_looked_at);
  RUN(a_loop_of_brown_outs_clears_nothing_and_writes_nothing);
  RUN(dead_probes_and_restarts_make_one_longest_run);
  RUN(no_loop_of_power_cuts_lets_dead_probes_pump_for_ever);
  RUN(cuts_soon_after_a_mark_trip_no_sound_pump);
  RUN(a_board_without_the_area_does_all_else_and_says_so);
  RUN(a_write_that_fails_is_told_and_made_good);
  RUN(a_damaged_block_leaves_the_record_as_it_is);
  RUN(brown_outs_are_counted_anew_on_demand);
  return check_result();
}
