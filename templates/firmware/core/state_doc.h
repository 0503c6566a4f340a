// The state document (docs/node-interface.md section 4).
#ifndef TN_STATE_DOC_H
#define TN_STATE_DOC_H

#include "node_view.h"
#include "text.h"

namespace tn {

constexpr const char *kJsonType = "application/json";

void put_state(Text *t, const NodeView &view);

}  // namespace tn

#endif
