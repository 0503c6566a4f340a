// What the emulated chips can measure. The first three are in the platform (templates/platforms/emulated/chips/*/measure.S).
#ifndef TN_TEST_MEASURE_H
#define TN_TEST_MEASURE_H

#include <stddef.h>
#include <stdint.h>

extern "C" {
void tn_on_stack(void *top, void (*work)(void *), void *with);
uint32_t tn_count(void);
void tn_loop(uint32_t n);
}

size_t begin_stack_bytes();  // node_stack.cpp
size_t step_stack_bytes();
extern bool es256_is_aside;  // verifications run on another stack, as on the ESP8266

// A stack of its own for the code that is measured, painted before; the deepest that anything ever reached in it.
struct PaintedStack {
  static constexpr size_t kBytes = 32768;
  static constexpr uint8_t kPaint = 0xA5;
  alignas(16) uint8_t area[kBytes];
  bool painted;

  void run(void (*work)(void *), void *with) {
    if (!painted) {
      for (uint8_t &byte : area) byte = kPaint;
      painted = true;
    }
    tn_on_stack(area + kBytes, work, with);
  }

  // 0: nothing ran on it.
  size_t deepest_bytes() const {
    size_t unused = 0;
    while (painted && unused < kBytes && area[unused] == kPaint) ++unused;
    return painted ? kBytes - unused : 0;
  }
};

#endif
