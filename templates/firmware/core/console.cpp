#include "console.h"

#include <string.h>

#include "slots.h"

namespace tn {

namespace {

using Page = Console::Page;

struct Word {
  const char *word;
  const char *does;
  Page page;
  Asked asked;
};
constexpr Word kWords[] = {
    {"help", "these words", Page::kHelp, Asked::kNothing},
    {"state", "what this node runs and does", Page::kState, Asked::kNothing},
    {"faults", "what is wrong, and the way out of it", Page::kFaults, Asked::kNothing},
    {"join", "look for the network now", Page::kDone, Asked::kJoin},
    {"clear", "clear faults that stay: pumps may start", Page::kDone, Asked::kClear},
    {"restart", "pump relays off, then start again", Page::kDone, Asked::kRestart},
    {"back", "go back to the older image, then start again", Page::kDone, Asked::kBack},
};
constexpr uint8_t kWordCount = sizeof kWords / sizeof kWords[0];

// The way out of each fault of the node, in the order of kNodeFaults.
constexpr const char *kWaysOut[] = {
    "this image is no good: `back`, or flash over USB",
    "flash over USB: no update can be taken",
    "flash over USB: the node knows no key",
    "send a good image, then keep it; or flash over USB",
    "`restart`; if it comes again, the flash is worn: change the board",
    "flash over USB: a restart forgets faults and runs",
};
static_assert(sizeof kWaysOut / sizeof kWaysOut[0] == sizeof kNodeFaults, "one way out for each fault");
constexpr uint8_t kFaultCount = sizeof kNodeFaults;

const char *way_out(TankFault fault) {
  switch (fault) {
    case TankFault::kContradictory: return "a probe is dry below a wet one; look at both";
    case TankFault::kFlapping: return "a probe changes too fast; look at it";
    default: return "look at pump, pipe and probes, then `clear`";
  }
}

bool bad_block(const NodeView &view) { return (view.faults & kFaultBadBlock) != 0; }

void put_field(Text *t, const char *name, const char *value) {
  put(t, name);
  put(t, value == nullptr || value[0] == '\0' ? "-" : value);
}

bool put_hello(Text *t, uint8_t line, const NodeView &view) {
  if (line > 0) return false;
  put_field(t, "tank node ", view.node);
  put(t, ": type `help`");
  return true;
}

bool put_help(Text *t, uint8_t line) {
  if (line >= kWordCount) return false;
  put(t, kWords[line].word);
  for (size_t i = strlen(kWords[line].word); i < 9; ++i) put_char(t, ' ');
  put(t, kWords[line].does);
  return true;
}

// Of the credentials on trial.
void put_new_network(Text *t, const NodeView &view, const NetworkView &network) {
  put(t, "new network ");
  put_n(t, network.new_name, strlen(network.new_name));
  put(t, view.network.joined && view.network.on == Which::kNew ? ", joined" : ", not joined");
  put(t, ", on trial for ");
  put_u64(t, (view.network.left_ms + 999u) / 1000u);
  put(t, " s more");
}

void put_network(Text *t, const NetworkView &network) {
  put_field(t, "network ", network.name);
  put(t, ", ");
  put(t, join_state_text(network.state));
  put(t, " for ");
  put_u64(t, network.for_ms / 1000u);
  put(t, " s");
  if (network.state == JoinState::kSeeking && network.lost_after_s != 0) {
    put(t, " of ");
    put_u64(t, network.lost_after_s);
  }
}

void put_image(Text *t, const NodeView &view) {
  put(t, "image ");
  if (view.slots.image == nullptr) {
    put(t, "unknown");
    return;
  }
  put_hex(t, view.slots.image, 8);
  put(t, ", ");
  put(t, phase_text(view.slots.phase));
  put(t, view.slots.older_image == nullptr ? ", no older image" : ", older image ");
  if (view.slots.older_image != nullptr) put_hex(t, view.slots.older_image, 8);
}

// Its first 40 characters, so that what follows fits the line too.
void put_tank_name(Text *t, const TankBlock &block) {
  put(t, "tank ");
  put_n(t, block.name, strlen(block.name) < 40 ? strlen(block.name) : 40);
  put(t, ": ");
}

void put_tank_line(Text *t, const TankBlock &block, const TankControl &tank) {
  put_tank_name(t, block);
  put(t, "level ");
  if (tank.level.level == kLevelUnknown) put(t, "unknown");
  else put_i32(t, tank.level.level);
  if (tank.rules.does == PumpDoes::kNone) return;
  put(t, ", pump relay ");
  put(t, tank.pump.on ? "on, " : "off, ");
  put(t, pump_why_text(tank.pump.why));
}

bool put_state_line(Text *t, uint8_t line, const NodeView &view, const NetworkView &network) {
  const bool bad = bad_block(view);
  switch (line) {
    case 0: put_field(t, "node ", view.node); return true;
    case 1:
      put_field(t, "release ", bad ? nullptr : view.block->release);
      put_field(t, ", board ", bad ? nullptr : view.block->board);
      return true;
    case 2: put_image(t, view); return true;
    case 3:
      put(t, "up ");
      put_u64(t, view.uptime_ms / 1000u);
      put(t, " s, started by ");
      put(t, reset_text(view.reset));
      put(t, ", free ");
      put_u64(t, view.free_bytes);
      put(t, " bytes");
      return true;
    case 4: put_network(t, network); return true;
    default: break;
  }
  const bool on_trial = network.new_name[0] != '\0';
  if (on_trial && line == 5) {
    put_new_network(t, view, network);
    return true;
  }
  const size_t i = line - (on_trial ? 6u : 5u);
  if (bad || i >= view.block->tank_count) return false;
  put_tank_line(t, view.block->tanks[i], view.control->tanks[i]);
  return true;
}

void put_fault(Text *t, const char *fault, const char *way) {
  put(t, fault);
  put(t, ": ");
  put(t, way);
}

// The faults of the node, then of each tank, then of the network; a line for each that there is, `none` when all is well.
bool put_fault_line(Text *t, uint8_t line, const NodeView &view, const NetworkView &network) {
  uint8_t found = 0;
  for (uint8_t i = 0; i < kFaultCount; ++i) {
    if ((view.faults & kNodeFaults[i]) == 0 || found++ != line) continue;
    put_fault(t, node_fault_text(static_cast<NodeFault>(kNodeFaults[i])), kWaysOut[i]);
    return true;
  }
  const size_t tanks = bad_block(view) ? 0 : view.block->tank_count;
  for (size_t i = 0; i < tanks; ++i) {
    const TankFault fault = tank_fault(view.control->tanks[i].level, view.control->tanks[i].pump);
    if (fault == TankFault::kNone || found++ != line) continue;
    put_tank_name(t, view.block->tanks[i]);
    put_fault(t, tank_fault_text(fault), way_out(fault));
    return true;
  }
  if (network.state != JoinState::kJoined && found++ == line) {
    put_fault(t, network.state == JoinState::kWaiting ? "network lost" : "network away",
              "`join` looks now; if its name or passphrase changed, flash over USB");
    return true;
  }
  if (found != 0 || line != 0) return false;
  put(t, "none");
  return true;
}

// The next line of the page into `out`; at the page's end there is none.
void next_line(Console *c, const NodeView &view, const NetworkView &network) {
  Text t = text_into(c->out, sizeof c->out - 2);
  bool more = false;
  switch (c->page) {
    case Page::kNone: return;
    case Page::kHello: more = put_hello(&t, c->line, view); break;
    case Page::kHelp: more = put_help(&t, c->line); break;
    case Page::kState: more = put_state_line(&t, c->line, view, network); break;
    case Page::kFaults: more = put_fault_line(&t, c->line, view, network); break;
    case Page::kDone:
      more = c->line == 0 && c->said != nullptr;
      if (more) put(&t, c->said);
      break;
  }
  ++c->line;
  if (!more) {
    c->page = Page::kNone;
    return;
  }
  memcpy(c->out + t.n, "\r\n", 2);
  c->out_n = t.n + 2;
  c->out_at = 0;
}

void begin_page(Console *c, Page page) {
  c->page = page;
  c->line = 0;
}

Asked take_word(Console *c) {
  c->word[c->word_n] = '\0';
  const bool empty = c->word_n == 0 && !c->too_long;
  c->word_n = 0;
  if (empty) return Asked::kNothing;
  for (const Word &each : kWords) {
    if (c->too_long || strcmp(c->word, each.word) != 0) continue;
    if (each.asked == Asked::kNothing) begin_page(c, each.page);
    return each.asked;
  }
  c->too_long = false;
  console_say(c, "not a word of this console: type `help`");
  return Asked::kNothing;
}

}  // namespace

void console_begin(Console *console) {
  *console = Console{};
  begin_page(console, Page::kHello);
}

void console_say(Console *console, const char *what) {
  console->said = what;
  begin_page(console, Page::kDone);
}

Asked console_listen(Console *console, const Port &port) {
  for (int i = 0; i < kConsoleReadsPerStep && console->page == Page::kNone; ++i) {
    const int byte = port.console_read(port.ctx);
    if (byte < 0) break;
    if (byte == '\r' || byte == '\n') {
      const Asked asked = take_word(console);
      if (asked != Asked::kNothing) return asked;
    } else if (console->word_n < kWordChars) {
      console->word[console->word_n++] = static_cast<char>(byte);
    } else {
      console->too_long = true;
    }
  }
  return Asked::kNothing;
}

bool console_has_more(const Console &console) { return console.page != Page::kNone || console.out_at != console.out_n; }

void console_print(Console *console, const Port &port, const NodeView &view, const NetworkView &network) {
  while (console_has_more(*console)) {
    if (console->out_at == console->out_n) {
      console->out_n = console->out_at = 0;
      next_line(console, view, network);
      continue;
    }
    const size_t taken = port.console_write(port.ctx, console->out + console->out_at, console->out_n - console->out_at);
    if (taken == 0) return;
    console->out_at += taken;
  }
}

}  // namespace tn
