// The serial console: for whoever stands at the board with a cable. It shows state, faults and the way out of them, and takes
// a few words of recovery; it takes no setting and shows no secret (docs/node-interface.md section 10).
//
// Bounded: one line of input, one line of output at a time; what does not fit the port now is sent in a later step.
#ifndef TN_CONSOLE_H
#define TN_CONSOLE_H

#include "join.h"
#include "node_view.h"
#include "port.h"
#include "text.h"

namespace tn {

constexpr size_t kWordChars = 16;           // longest line of input that is read at all
constexpr size_t kConsoleLineBytes = 112;   // longest line of output
constexpr int kConsoleReadsPerStep = 32;

// What a line asks of the node; kNothing: the console answers it alone.
enum class Asked : uint8_t { kNothing = 0, kJoin, kRestart, kBack, kClear };

// What the console may know of the network. The name is shown, the passphrase is not here at all.
struct NetworkView {
  const char *name;
  const char *new_name;   // "" but on trial
  JoinState state;
  uint64_t for_ms;        // in this state; since the loss while seeking or waiting
  uint32_t lost_after_s;  // 0: seek for ever
};

struct Console {
  enum class Page : uint8_t { kNone, kHello, kHelp, kState, kFaults, kDone };
  Page page;          // what is being printed
  uint8_t line;       // of it, next
  bool too_long;      // of the input line: it is thrown away
  uint8_t word_n;
  char word[kWordChars + 1];
  const char *said;   // for Page::kDone
  size_t out_n, out_at;
  char out[kConsoleLineBytes];
};

void console_begin(Console *console);  // says hello
// Reads what there is. What is asked is done by the caller, who answers with console_say().
Asked console_listen(Console *console, const Port &port);
bool console_has_more(const Console &console);  // something to print
void console_print(Console *console, const Port &port, const NodeView &view, const NetworkView &network);  // what fits
void console_say(Console *console, const char *what);  // a text that lives for ever

}  // namespace tn

#endif
