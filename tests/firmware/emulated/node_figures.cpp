// The test of the whole node, with Node::begin and Node::step on painted stacks (node_stack.cpp): prints what the test prints,
// then the deepest that they reached.
#define main node_test_main
#include "node_test.cpp"
#undef main

#include "measure.h"

int main() {
  const int result = node_test_main(1, nullptr);
  printf("begin_stack_bytes %lu\nstep_stack_bytes %lu\n", static_cast<unsigned long>(begin_stack_bytes()),
         static_cast<unsigned long>(step_stack_bytes()));
  return result;
}
