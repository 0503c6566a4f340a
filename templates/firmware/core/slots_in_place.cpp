// The start of a copy-in-place node whose boot loader copies when told and does nothing else: the running application looks at
// what came of the last copy and orders the next one. Nothing is believed but the bytes in the flash: an order that got lost with
// the power is given again, a copy that did not arrive is ordered kCopyOrders times and then given up.
#include "slots.h"
#include "slots_area.h"

namespace tn {

InPlace Slots::start_in_place(Reset cause) {
  InPlace what = {};
  what.choice = Choice{Boot::kNoRecord, 0, 0, false};
  if (!read_record_firmly(*flash_, *partition_, &record_, &newest_)) return what;
  note_cause(cause);
  give_up_in_place(cause);
  if (record_.pending != Pending::kNothing && order_pending(&what)) return what;
  const bool good = whole(kRun);
  if (!good && order_mending(&what)) return what;
  if (good) record_.copy_orders = 0;
  what.choice = start(kRun);
  if (!good) what.choice.boot = Boot::kNothingWhole;
  return what;
}

// One order more, noted before it is given. False: there were enough of them, its source is not whole, or it cannot be noted.
bool Slots::order(uint8_t from, InPlace *to) {
  if (record_.copy_orders >= kCopyOrders || !whole(from)) return false;
  ++record_.copy_orders;
  if (!save()) return false;
  *to = InPlace{true, partition_->images[from].at, partition_->images[kRun].at, record_.images[from].bytes, to->choice};
  return true;
}

// True: a copy is ordered. False: it has arrived, or it never will; nothing is pending any more.
bool Slots::order_pending(InPlace *to) {
  const bool installs = record_.pending == Pending::kInstall;
  const uint8_t from = installs ? kStaging : kKeep;
  if (arrived(from)) {
    if (installs) {
      installed();
    } else {
      restored(record_.pending_reason);
    }
    return false;
  }
  if (order(from, to)) return true;
  if (installs) {
    drop_install();
    record_.copy_orders = 0;  // what mends the running area has its own
  } else {
    record_.pending = Pending::kNothing;
  }
  return false;
}

// The running image is damaged: the same one from another area, else the older one, else the newer one.
bool Slots::order_mending(InPlace *to) {
  for (uint8_t from = kStaging; from <= kKeep; ++from) {
    if (same_image(record_.images[from], record_.images[kRun]) && order(from, to)) return true;
  }
  record_.pending = Pending::kRestore;
  record_.pending_reason = Reason::kDamaged;
  if (order(kKeep, to)) return true;
  record_.pending = Pending::kInstall;
  if (order(kStaging, to)) return true;
  record_.pending = Pending::kNothing;
  return false;
}

}  // namespace tn
