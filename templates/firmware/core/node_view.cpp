#include "node_view.h"

namespace tn {

const char *node_fault_text(NodeFault fault) {
  switch (fault) {
    case kFaultBadBlock: return "bad-block";
    case kFaultNoRecord: return "no-record";
    case kFaultNoKey: return "no-key";
    case kFaultNoWayBack: return "no-way-back";
    case kFaultFlash: return "flash-failed";
    case kFaultNoRunRecord: return "no-run-record";
  }
  return "unknown";
}

const char *reset_text(Reset reset) {
  switch (reset) {
    case Reset::kPowerOn: return "power-on";
    case Reset::kRestart: return "restart";
    case Reset::kWatchdog: return "watchdog";
    case Reset::kCrash: return "crash";
    case Reset::kBrownOut: return "brown-out";
  }
  return "crash";
}

}  // namespace tn
