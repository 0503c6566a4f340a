// Defective firmware for trying updates out: -DTN_BENCH_DEFECT=n at compile time, in the host port alone. The core knows
// nothing of it, and no other port has it.
#ifndef TN_DEFECT_H
#define TN_DEFECT_H

#include <stdint.h>

#ifndef TN_BENCH_DEFECT
#define TN_BENCH_DEFECT 0
#endif

namespace tn {

enum class Defect : uint8_t {
  kNone = 0,
  kCrashAtBoot = 1,
  kHangAfterMinute = 2,  // the control loop stops after a minute of process time
  kProbesInverted = 3,
  kNoNetwork = 4,
  kPumpStuckOn = 5,
  kLeaksMemory = 6
};
static_assert(TN_BENCH_DEFECT >= 0 && TN_BENCH_DEFECT <= 6, "no such defect");
constexpr Defect kDefect = static_cast<Defect>(TN_BENCH_DEFECT);

constexpr uint64_t kHangAtMs = 60000;
constexpr uint32_t kLeakBytesPerSecond = 200;  // of process time

}  // namespace tn

#endif
