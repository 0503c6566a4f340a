// Probes, level and pump over a clock that jumps: hysteresis, every reason to stay off, every fault.
#include <string.h>

#include "check.h"
#include "core/control.h"
#include "sample_block.h"

using tn::PumpWhy;
using tn::TankFault;

namespace {

// A world of pins and process time.
struct World {
  tn::NodeBlock block;
  tn::Port port;
  tn::Control control;
  bool wet[64];
  bool level_high[64];
  bool driven[64];
  uint64_t at_ms;
  bool updating;
  uint8_t fed_from;   // the feed that is HIGH, or kNoPin
  unsigned feeds;     // how often one was turned on
  unsigned read_fed;  // readings of fed probes
};
World world;

bool probe_is_low(void *, uint8_t pin, uint8_t pull) {
  if (pull != static_cast<uint8_t>(tn::Pull::kFed)) return world.wet[pin];
  CHECK(world.fed_from == 20);
  ++world.read_fed;
  return world.wet[pin] || world.fed_from != 20;  // what nothing feeds reads LOW
}
void feed(void *, uint8_t pin, bool on) {
  CHECK(pin == 20 && world.fed_from == (on ? tn::kNoPin : 20));  // in turns
  world.fed_from = on ? pin : tn::kNoPin;
  if (on) ++world.feeds;
}
void relay(void *, uint8_t pin, bool level_high) {
  world.level_high[pin] = level_high;
  world.driven[pin] = true;
}
uint64_t process_ms(void *) { return world.at_ms; }

tn::TankControl &tank(size_t i) { return world.control.tanks[i]; }
bool header_on() { return world.level_high[10]; }   // active high
bool sump_on() { return !world.level_high[11]; }    // active low

void begin_at(uint64_t at_ms) {
  world.block = sample_block();
  world.port = tn::Port{};
  world.port.probe_is_low = probe_is_low;
  world.port.relay = relay;
  world.port.process_ms = process_ms;
  world.port.feed = feed;
  world.fed_from = tn::kNoPin;
  world.feeds = world.read_fed = 0;
  for (bool &each : world.wet) each = false;
  for (bool &each : world.driven) each = false;
  for (bool &each : world.level_high) each = true;
  world.level_high[11] = false;  // both relays wrongly on: begin() has to put them off
  world.at_ms = at_ms;
  world.updating = false;
  tn::control_begin(&world.control, &world.block, &world.port);
}

void pass_ms(uint64_t ms) {
  for (uint64_t end = world.at_ms + ms; world.at_ms < end;) {
    world.at_ms += 50;
    tn::control_step(&world.control, world.updating);
  }
}
void pass_s(uint32_t s) { pass_ms(1000ull * s); }

// Level of the header tank: number of wet marks.
void header(int marks) {
  for (int i = 0; i < 3; ++i) world.wet[1 + i] = i < marks;
}
void sump(int marks) {
  for (int i = 0; i < 2; ++i) world.wet[4 + i] = i < marks;
}

// Past power-up hold and shortest off time, header half full, sump half full: everything idle.
void begin_idle() {
  begin_at(0);
  header(2);
  sump(1);
  pass_s(70);
}

}  // namespace

static void debounce_is_per_probe_and_counts_from_the_change() {
  tn::Probe probe;
  tn::probe_begin(&probe);
  tn::probe_sample(&probe, true, 1000, 2000);
  tn::probe_sample(&probe, true, 2999, 2000);
  CHECK(probe.state == tn::ProbeState::kSettling);
  tn::probe_sample(&probe, true, 3000, 2000);
  CHECK(probe.state == tn::ProbeState::kWet);
  for (uint64_t at = 3000; at < 60000; at += 1900) {  // splashes: dry for 0.3 s in 1.9 s
    tn::probe_sample(&probe, true, at, 2000);
    tn::probe_sample(&probe, false, at + 1600, 2000);
    CHECK(probe.state == tn::ProbeState::kWet);
  }
  tn::probe_sample(&probe, false, 10000, 2000);
  tn::probe_sample(&probe, false, 12000, 2000);
  CHECK(probe.state == tn::ProbeState::kDry);
}

static void probe_that_changes_faster_than_the_debounce_flaps_until_it_is_calm() {
  tn::Probe probe;
  tn::probe_begin(&probe);
  uint64_t at = 0;
  const auto read = [&](bool wet, uint32_t ms) {
    for (const uint64_t end = at + ms; at < end; at += 100) tn::probe_sample(&probe, wet, at, 2000);
  };
  read(false, 3000);
  for (int i = 0; i < 8; ++i) {  // waves of 1.2 s
    read(true, 600);
    read(false, 600);
  }
  CHECK(probe.state == tn::ProbeState::kFlapping);
  read(true, 3900);
  CHECK(probe.state == tn::ProbeState::kFlapping);  // calm for less than two debounces
  read(true, 300);
  CHECK(probe.state == tn::ProbeState::kWet);
  read(false, 2200);
  CHECK(probe.state == tn::ProbeState::kDry);  // and a clean change takes one
}

static void level_from_every_pattern_of_four_marks() {
  for (unsigned pattern = 0; pattern < 256; ++pattern) {  // 4 states, 4 marks
    tn::Probe probes[4];
    char word[5] = {};
    for (unsigned i = 0; i < 4; ++i) {
      tn::probe_begin(&probes[i]);
      probes[i].state = static_cast<tn::ProbeState>(pattern >> 2 * i & 3u);
      word[i] = "sdwf"[pattern >> 2 * i & 3u];
    }
    const tn::Level level = tn::level_from(probes, 4);
    CHECK(level.settled == (strchr(word, 's') == nullptr));
    const char *first_dry = strchr(word, 'd'), *last_wet = strrchr(word, 'w');
    CHECK(level.contradictory == (first_dry != nullptr && last_wet != nullptr && first_dry < last_wet));
    const size_t wet = strspn(word, "w"), flapping = strspn(word + wet, "f");
    const bool known = strspn(word + wet + flapping, "d") == 4 - wet - flapping;
    CHECK(level.level == (known ? static_cast<int>(wet) : tn::kLevelUnknown));
  }
}

static void every_boot_begins_with_the_relays_off() {
  begin_at(5000);
  CHECK(world.driven[10] && !header_on());
  CHECK(world.driven[11] && !sump_on());
  CHECK(!world.driven[1] && !world.driven[4]);  // probes are never driven
}

static void power_up_hold_then_shortest_off_then_on() {
  begin_at(100000);
  pass_ms(9900);
  CHECK(!header_on() && tank(0).pump.why == PumpWhy::kPowerUpHold);
  pass_ms(200);
  CHECK(!header_on() && tank(0).pump.why == PumpWhy::kShortestOff);  // it may have run until just before the start
  pass_ms(49800);
  CHECK(!header_on());
  pass_ms(200);
  CHECK(header_on() && tank(0).pump.why == PumpWhy::kBelowLow && tank(0).pump.starts == 1);
  CHECK(!sump_on());  // its high mark is dry
}

static void level_is_unknown_while_a_probe_settles() {
  begin_at(0);
  for (int i = 0; i < 80; ++i) {  // the top probe flickers for 80 s and never settles
    world.wet[3] = i % 2 == 0;
    pass_s(1);
    CHECK(!header_on() && tank(0).level.level == tn::kLevelUnknown);
  }
  CHECK(tank(0).probes[2].state == tn::ProbeState::kFlapping && tank(0).pump.why == PumpWhy::kAboveHigh);
}

static void fill_has_hysteresis() {
  begin_idle();
  CHECK(!header_on() && tank(0).pump.why == PumpWhy::kBetween);
  header(0);
  pass_ms(1900);
  CHECK(!header_on());  // debounce
  pass_ms(300);
  CHECK(header_on() && tank(0).pump.why == PumpWhy::kBelowLow);
  header(1);
  pass_s(10);
  CHECK(header_on() && tank(0).pump.why == PumpWhy::kBetween);
  header(2);
  pass_s(10);
  CHECK(header_on());
  header(3);
  pass_ms(1900);
  CHECK(header_on());
  pass_ms(300);
  CHECK(!header_on() && tank(0).pump.why == PumpWhy::kAboveHigh);
  header(1);
  pass_s(100);
  CHECK(!header_on() && tank(0).pump.why == PumpWhy::kBetween);
  CHECK(tank(0).pump.starts == 1);
  CHECK(tank(0).pump.run_ms >= 22000 && tank(0).pump.run_ms <= 22600);
}

static void drain_has_hysteresis() {
  begin_idle();
  sump(2);
  pass_ms(2200);
  CHECK(sump_on() && tank(1).pump.why == PumpWhy::kAboveHigh);
  sump(1);
  pass_s(10);
  CHECK(sump_on() && tank(1).pump.why == PumpWhy::kBetween);
  sump(0);
  pass_ms(2200);
  CHECK(!sump_on() && tank(1).pump.why == PumpWhy::kBelowLow);
}

static void shortest_off_holds_between_runs() {
  begin_idle();
  sump(2);
  pass_s(3);
  sump(0);
  pass_s(3);
  CHECK(!sump_on());
  sump(2);
  pass_s(50);
  CHECK(!sump_on() && tank(1).pump.why == PumpWhy::kShortestOff);
  pass_s(11);
  CHECK(sump_on() && tank(1).pump.starts == 2);
}

static void contradictory_marks_stop_the_pump_until_they_agree() {
  begin_idle();
  header(0);
  pass_s(3);
  CHECK(header_on());
  world.wet[2] = true;  // half wet, empty dry
  pass_ms(2200);
  CHECK(!header_on() && tank(0).pump.why == PumpWhy::kFault);
  CHECK(tn::tank_fault(tank(0).level, tank(0).pump) == TankFault::kContradictory);
  CHECK(!sump_on());
  header(0);
  pass_s(3);
  CHECK(tn::tank_fault(tank(0).level, tank(0).pump) == TankFault::kNone);
  CHECK(!header_on() && tank(0).pump.why == PumpWhy::kShortestOff);
  pass_s(60);
  CHECK(header_on());
}

static void longest_run_latches() {
  begin_idle();
  header(0);
  pass_s(3);
  CHECK(header_on());
  for (int i = 0; i < 6; ++i) {  // marks go on changing, so the no-rise watch is content
    header(1 + i % 2);
    pass_s(97);
    CHECK(header_on());
    tank(0).pump.run.fed_marks = 0;  // a tank of very many marks: one keeps coming
  }
  pass_s(20);
  CHECK(!header_on() && tank(0).pump.latched == TankFault::kLongestRun && tank(0).pump.why == PumpWhy::kFault);
  header(0);
  pass_s(3600);
  CHECK(!header_on());
}

static void no_rise_latches_until_a_person_clears_it() {
  begin_idle();
  header(0);
  pass_s(3);
  pass_s(290);
  CHECK(header_on());
  pass_s(15);
  CHECK(!header_on() && tank(0).pump.latched == TankFault::kNoRise);
  tn::control_rest(&world.control);
  CHECK(tank(0).pump.latched == TankFault::kNoRise && tank(0).pump.why == PumpWhy::kFault);
  pass_s(7200);
  CHECK(!header_on());
  CHECK(!tn::pump_clear(&tank(1).pump));
  CHECK(tn::pump_clear(&tank(0).pump) && !tn::pump_clear(&tank(0).pump));
  pass_ms(100);
  CHECK(header_on() && tank(0).pump.starts == 2);
  CHECK(tn::pump_this_run_ms(tank(0).pump, world.at_ms) <= 100);
}

static void clear_keeps_the_shortest_off_time() {
  begin_idle();
  header(0);
  pass_s(310);
  CHECK(tank(0).pump.latched == TankFault::kNoRise);
  CHECK(tn::pump_clear(&tank(0).pump));
  pass_s(40);
  CHECK(!header_on() && tank(0).pump.why == PumpWhy::kShortestOff);
  pass_s(20);
  CHECK(header_on());
}

// A restart of the node that is away for no time: what the record of runs keeps is what pump_carry() says.
static void restart() {
  const tn::PumpCarry carry = tn::pump_carry(tank(0).pump, world.at_ms);
  tn::control_begin(&world.control, &world.block, &world.port);
  tn::pump_resume(&tank(0).pump, carry);
}

static void a_latched_fault_outlives_restarts() {
  begin_idle();
  header(0);
  pass_s(310);
  for (int i = 0; i < 5; ++i) {
    restart();
    pass_s(900);
    CHECK(!header_on() && tank(0).pump.latched == TankFault::kNoRise && tank(0).pump.why == PumpWhy::kFault);
  }
}

// Dead probes and a node that starts again and again: how long the pump was on in 24 h, in seconds.
static uint64_t on_with_dead_probes_s(uint32_t restart_every_s, uint32_t no_rise_s) {
  begin_at(0);
  world.block.tanks[0].no_rise_s = no_rise_s;
  world.block.tanks[0].longest_run_s = 3600;
  header(0);
  restart();
  uint64_t on_ms = 0;
  for (uint32_t s = 0; s < 86400; s += restart_every_s) {
    pass_s(restart_every_s);
    on_ms += tank(0).pump.run_ms;
    restart();
  }
  CHECK(tank(0).pump.latched == (no_rise_s == 0 ? TankFault::kLongestRun : TankFault::kNoRise));
  return on_ms / 1000;
}

static void dead_probes_give_one_longest_run_however_often_the_node_starts() {
  const uint32_t restarts_s[] = {300, 1800};
  for (const uint32_t every_s : restarts_s) {
    const uint64_t longest_s = on_with_dead_probes_s(every_s, 0);
    CHECK(longest_s >= 3540 && longest_s <= 3600);  // whole seconds are carried: up to one a restart is lost
    const uint64_t watched_s = on_with_dead_probes_s(every_s, 900);
    CHECK(watched_s >= 840 && watched_s <= 3 * 900);  // the first two restarts begin the watch anew
  }
}

// The full probe reads wet for `wet_ms`, dry for `dry_ms`, and so on: for how long the pump goes on, of a minute at most.
static uint64_t on_with_a_flapping_full_probe_ms(uint32_t wet_ms, uint32_t dry_ms) {
  begin_idle();
  header(0);
  pass_s(3);
  header(2);
  pass_s(5);
  CHECK(header_on());
  const uint64_t from = world.at_ms;
  while (header_on() && world.at_ms - from < 60000) {
    world.wet[3] = (world.at_ms - from) % (wet_ms + dry_ms) < wet_ms;
    pass_ms(50);
  }
  return world.at_ms - from;
}

// From the sample period to several debounces, wet for a quarter of the time or more: at 3 of 4 dry, 24 debounces (6 / (4/4 - 3/4)) and what belief takes.
static void a_full_probe_that_flaps_at_any_rate_stops_the_pump() {
  const uint32_t dry_shares[] = {1, 3};
  for (const uint32_t dry_share : dry_shares) {
    const uint64_t bound_ms = dry_share == 1 ? 5 * 2000 : 26 * 2000;
    for (uint32_t wet_ms = 100; wet_ms <= 8000; wet_ms += wet_ms < 2000 ? 100 : 500) {
      CHECK(on_with_a_flapping_full_probe_ms(wet_ms, dry_share * wet_ms) <= bound_ms);
    }
  }
}

static void a_flapping_mark_is_a_fault_only_after_ten_minutes_without_the_pump() {
  begin_idle();
  header(0);
  pass_s(3);
  CHECK(header_on());
  world.control.tanks[0].rules.no_rise_s = world.control.tanks[0].rules.longest_run_s = 0;
  const auto flap_s = [](uint32_t s) {
    for (uint32_t i = 0; i < 2 * s; ++i) {
      world.wet[2] = i % 2 == 0;
      pass_ms(500);
    }
  };
  world.wet[1] = true;
  flap_s(900);
  CHECK(header_on() && tn::tank_fault(tank(0).level, tank(0).pump) == TankFault::kNone);  // the pump stirs the water
  CHECK(tank(0).level.level == 1 && tank(0).level.flapping_marks == 2);
  world.wet[3] = true;
  flap_s(3);
  CHECK(!header_on());
  world.wet[3] = false;
  flap_s(590);
  CHECK(tn::tank_fault(tank(0).level, tank(0).pump) == TankFault::kNone);
  flap_s(12);
  CHECK(tn::tank_fault(tank(0).level, tank(0).pump) == TankFault::kFlapping);
  header(1);
  pass_s(5);
  CHECK(tn::tank_fault(tank(0).level, tank(0).pump) == TankFault::kNone);  // it passes by itself
}

// Waves at the lower mark with a dead pump: 300 s became 600 s, and more with each wave.
static void waves_at_a_lower_mark_feed_the_watch_once_a_run() {
  begin_idle();
  header(0);
  pass_s(3);
  for (uint32_t s = 0; s < 900 && header_on(); s += 8) {
    header(1);
    pass_s(4);
    header(0);
    pass_s(4);
  }
  CHECK(!header_on() && tank(0).pump.latched == TankFault::kNoRise);
  CHECK(tank(0).pump.run.on_ms <= 310000);
}

// A long stretch above, 3,600 s to wait for; but the mark that the level just left must be back within 30 s.
static void the_first_rise_has_a_watch_of_its_own() {
  begin_idle();
  world.control.tanks[0].rules.no_rise_s = world.control.tanks[0].rules.longest_run_s = 3600;
  world.control.tanks[0].rules.first_rise_s = 30;
  header(0);
  pass_s(3);
  CHECK(header_on());
  pass_s(20);
  header(1);
  pass_s(100);
  CHECK(header_on());  // back in time: from here on the stretch counts
  header(2);
  pass_s(5);
  header(3);
  pass_s(70);
  header(0);
  pass_s(36);
  CHECK(!header_on() && tank(0).pump.latched == TankFault::kNoRise);
}

static void a_start_below_the_mark_has_the_whole_watch() {
  begin_at(0);
  world.control.tanks[0].rules.first_rise_s = 30;
  header(0);  // the node never saw the mark wet
  pass_s(200);
  CHECK(header_on());
}

static void progress_feeds_the_no_rise_watch() {
  begin_idle();
  header(0);
  pass_s(3);
  pass_s(250);
  header(1);
  pass_s(250);
  CHECK(header_on());  // 500 s in all, but a mark came in between
  header(0);           // gone again: what the mark gave is taken back
  pass_s(3);
  CHECK(!header_on() && tank(0).pump.latched == TankFault::kNoRise);
}

static void drain_watch_wants_marks_to_fall() {
  begin_idle();
  sump(2);
  pass_s(303);
  CHECK(!sump_on() && tank(1).pump.latched == TankFault::kNoRise);
}

static void zero_means_no_bound() {
  begin_idle();
  world.control.tanks[0].rules.longest_run_s = 0;
  world.control.tanks[0].rules.no_rise_s = 0;
  header(0);
  pass_s(7200);
  CHECK(header_on());
}

static void rest_stops_a_running_pump_at_once() {
  begin_idle();
  header(0);
  pass_s(3);
  CHECK(header_on());
  tn::control_rest(&world.control);
  CHECK(!header_on() && !sump_on() && tank(0).pump.why == PumpWhy::kResting);
}

static void updating_stops_a_running_pump_at_once() {
  begin_idle();
  header(0);
  pass_s(3);
  world.updating = true;
  tn::control_step(&world.control, true);
  CHECK(!header_on() && tank(0).pump.why == PumpWhy::kUpdating);
  world.updating = false;
  pass_s(61);
  CHECK(header_on());
}

// At 20 times the speed a turn of 20 ms is 400 ms of process time, at 2000 times 40 s: debounce still takes two samples.
static void coarse_clock_still_works() {
  begin_at(0);
  header(0);
  for (int i = 0; i < 4; ++i) {
    world.at_ms += 40000;
    tn::control_step(&world.control, false);
    CHECK(header_on() == (i >= 1));
  }
}

// The relay must be off whenever the pump has no business to run, whatever the probes do: 200 random lives.
static void random_lives_never_break_the_rules() {
  for (uint32_t seed = 1; seed <= 200; ++seed) {
    uint32_t random = seed * 2654435761u;
    begin_at(seed);
    bool was_on = false;
    uint64_t off_since = seed, on_since = 0;
    for (int i = 0; i < 3000; ++i) {
      random = random * 1664525u + 1013904223u;
      if ((random >> 24) < 20) world.wet[1 + (random >> 16) % 5] = (random & 0x8000u) != 0;
      if ((random >> 24) == 99) tn::control_rest(&world.control);
      if ((random >> 24) == 98) world.updating = !world.updating;
      if ((random >> 24) == 97) tn::pump_clear(&tank(0).pump);
      world.at_ms += 50 + (random >> 8) % 2000;
      tn::control_step(&world.control, world.updating);
      const bool on = header_on();
      const int failed = check_failed;
      if (on) {
        CHECK(!world.updating && tank(0).pump.rest_until_ms == 0 && tank(0).level.settled);
        CHECK(tn::tank_fault(tank(0).level, tank(0).pump) == TankFault::kNone);
        CHECK(!tn::has_mark(tank(0).level.wet_marks, 2));
        CHECK(world.at_ms - seed >= 10000);
      }
      if (on && !was_on) {
        CHECK(world.at_ms - off_since >= 60000);
        on_since = world.at_ms;
      }
      if (on && was_on) CHECK(world.at_ms - on_since < 600000);
      if (!on && was_on) off_since = world.at_ms;
      if (check_failed != failed) {
        printf("seed %u, step %d\n", seed, i);
        return;
      }
      was_on = on;
    }
  }
}

// The header tank's resistors hang on GPIO20, the sump's probes on the chip's own pull-ups: once each sample period the feed is HIGH
// for the header's three readings, and at no other time.
static void a_feed_is_on_only_while_its_tank_is_read() {
  begin_at(0);
  world.block.feed_pins[0] = 20;
  for (size_t k = 0; k < 3; ++k) world.block.tanks[0].marks[k].pull = static_cast<uint8_t>(tn::Pull::kFed);
  header(1);
  sump(1);
  for (int i = 0; i < 100; ++i) {
    pass_ms(100);
    CHECK(world.fed_from == tn::kNoPin);
    CHECK(world.feeds == static_cast<unsigned>(i + 1) && world.read_fed == 3 * world.feeds);
  }
  CHECK(tank(0).level.level == 1 && tank(1).level.level == 1);
  header(3);
  pass_s(3);
  CHECK(tank(0).level.level == 3);
  world.updating = true;  // an update goes on reading
  pass_s(1);
  CHECK(world.fed_from == tn::kNoPin && world.feeds == 140);
  tn::control_all_off(&world.control);
  CHECK(world.fed_from == tn::kNoPin);
}

int main() {
  RUN(a_feed_is_on_only_while_its_tank_is_read);
  RUN(debounce_is_per_probe_and_counts_from_the_change);
  RUN(probe_that_changes_faster_than_the_debounce_flaps_until_it_is_calm);
  RUN(level_from_every_pattern_of_four_marks);
  RUN(every_boot_begins_with_the_relays_off);
  RUN(power_up_hold_then_shortest_off_then_on);
  RUN(level_is_unknown_while_a_probe_settles);
  RUN(fill_has_hysteresis);
  RUN(drain_has_hysteresis);
  RUN(shortest_off_holds_between_runs);
  RUN(contradictory_marks_stop_the_pump_until_they_agree);
  RUN(longest_run_latches);
  RUN(no_rise_latches_until_a_person_clears_it);
  RUN(clear_keeps_the_shortest_off_time);
  RUN(a_latched_fault_outlives_restarts);
  RUN(dead_probes_give_one_longest_run_however_often_the_node_starts);
  RUN(a_full_probe_that_flaps_at_any_rate_stops_the_pump);
  RUN(a_flapping_mark_is_a_fault_only_after_ten_minutes_without_the_pump);
  RUN(waves_at_a_lower_mark_feed_the_watch_once_a_run);
  RUN(the_first_rise_has_a_watch_of_its_own);
  RUN(a_start_below_the_mark_has_the_whole_watch);
  RUN(progress_feeds_the_no_rise_watch);
  RUN(drain_watch_wants_marks_to_fall);
  RUN(zero_means_no_bound);
  RUN(rest_stops_a_running_pump_at_once);
  RUN(updating_stops_a_running_pump_at_once);
  RUN(coarse_clock_still_works);
  RUN(random_lives_never_break_the_rules);
  return check_result();
}
