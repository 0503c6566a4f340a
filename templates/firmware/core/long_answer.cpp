#include "long_answer.h"

#include <string.h>

#include "metrics.h"
#include "state_doc.h"
#include "text.h"

namespace tn {

namespace {

const uint8_t *copied(const uint8_t *from, uint8_t to[32]) {
  if (from == nullptr) return nullptr;
  memcpy(to, from, 32);
  return to;
}

}  // namespace

const char *page_type(Page page) { return page == Page::kState ? kJsonType : kMetricsType; }

void long_answer_begin(LongAnswer *answer, Page page, const NodeView &view) {
  answer->page = page;
  answer->view = view;
  answer->next = 0;
  if ((view.faults & kFaultBadBlock) == 0) answer->control = *view.control;
  answer->view.control = &answer->control;
  SlotFacts *const slots = &answer->view.slots;
  slots->image = copied(slots->image, answer->images[0]);
  slots->older_image = copied(slots->older_image, answer->images[1]);
  slots->last_image = copied(slots->last_image, answer->images[2]);
  memcpy(answer->nonce, view.nonce, sizeof answer->nonce);
  answer->view.nonce = answer->nonce;
}

size_t long_answer_next(LongAnswer *answer) {
  Text piece = text_from(answer->next, answer->piece, sizeof answer->piece);
  if (answer->page == Page::kState) {
    put_state(&piece, answer->view);
  } else {
    put_metrics(&piece, answer->view);
  }
  answer->next += piece.n;
  return piece.n;
}

size_t long_answer_measure(LongAnswer *answer, const Crypto &crypto, uint8_t sha256[32]) {
  Sha256 sha;
  crypto.sha256_begin(&sha);
  for (size_t n = long_answer_next(answer); n > 0; n = long_answer_next(answer)) crypto.sha256_add(&sha, answer->piece, n);
  crypto.sha256_end(&sha, sha256);
  const size_t whole = answer->next;
  answer->next = 0;
  return whole;
}

}  // namespace tn
