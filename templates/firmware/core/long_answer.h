// A long answer on its way: what it says, taken at one moment, and the piece of it that is being sent.
//
// The page lies nowhere as a whole: it is written anew for each piece, and what comes before the piece is left out. So that all
// pieces are of one page, everything that may change meanwhile is copied first.
#ifndef TN_LONG_ANSWER_H
#define TN_LONG_ANSWER_H

#include "limits.h"
#include "node_view.h"
#include "signature.h"

namespace tn {

enum class Page : uint8_t { kState, kMetrics };
const char *page_type(Page page);  // Content-Type

struct LongAnswer {
  bool used;
  Page page;
  NodeView view;  // points at the copies below, and at what never changes
  Control control;
  uint8_t images[3][32];
  char nonce[kNonceChars + 1];
  size_t next;  // where the next piece begins
  char piece[kPieceBytes];
};

void long_answer_begin(LongAnswer *answer, Page page, const NodeView &view);
size_t long_answer_measure(LongAnswer *answer, const Crypto &crypto, uint8_t sha256[32]);  // bytes of the whole page
size_t long_answer_next(LongAnswer *answer);  // bytes now at `piece`; 0: that was all

}  // namespace tn

#endif
