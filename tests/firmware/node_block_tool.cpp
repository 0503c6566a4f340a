// node_block_tool: reads node blocks from standard input, one behind the other, and says of each what the node's own check makes of
// it: a line with the BlockFault's number and its words. `node_block_tool faults` lists them all instead.
#include <stdio.h>
#include <string.h>

#include "core/node_block_check.h"

namespace {

void say(tn::BlockFault fault) { printf("%u %s\n", static_cast<unsigned>(fault), tn::block_fault_text(fault)); }

int list_faults() {
  for (unsigned i = 0; strcmp(tn::block_fault_text(static_cast<tn::BlockFault>(i)), "unknown") != 0; ++i) {
    say(static_cast<tn::BlockFault>(i));
  }
  return 0;
}

}  // namespace

int main(int count, char **words) {
  if (count == 2 && strcmp(words[1], "faults") == 0) return list_faults();
  if (count != 1) return 2;
  tn::NodeBlock block;
  size_t got;
  while ((got = fread(&block, 1, sizeof block, stdin)) == sizeof block) say(tn::check_node_block(block));
  return got == 0 ? 0 : 1;
}
