// The test of the whole node, with Node::begin and Node::step on painted stacks (node_stack.cpp): prints what the test prints,
// then the deepest that they reached. Last argument `aside`: ES256 runs on another stack, as on the ESP8266. `deep`: one more
// step, that uses 4.5 KB of stack for the look at the watchdog.
#define main node_test_main
#include "node_test.cpp"
#undef main

#include "measure.h"

static void deep_feed(void *) {
  volatile uint8_t deep[4608];
  for (volatile uint8_t &byte : deep) byte = 0;
}

int main(int count, char **arguments) {
  es256_is_aside = count > 0 && strcmp(arguments[count - 1], "aside") == 0;
  const int result = node_test_main(1, nullptr);
  if (count > 0 && strcmp(arguments[count - 1], "deep") == 0) {
    fresh();
    w.port.feed_watchdog = deep_feed;
    node.step();
  }
  printf("begin_stack_bytes %lu\nstep_stack_bytes %lu\n", static_cast<unsigned long>(begin_stack_bytes()),
         static_cast<unsigned long>(step_stack_bytes()));
  return result;
}
