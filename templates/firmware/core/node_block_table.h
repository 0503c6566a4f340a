// What each field of a node block may hold, and what is wrong with one that holds something else. One table for both sides: the node's
// check (node_block_check.cpp) includes it, and the tool's (fleet/render/block_check.py) reads its lines, so each is a line of its own with
// whole numbers in it. What holds between fields is code on both sides; tests/render/test_block_check.py holds the two together.
// No guard: it is included once for each use, with the macros of that use defined.
#ifndef TN_FAULT
#define TN_FAULT(fault, words)
#endif
#ifndef TN_BLOCK_TEXT
#define TN_BLOCK_TEXT(field, is)
#define TN_BLOCK_RANGE(field, least, most, fault)
#endif
#ifndef TN_TANK_TEXT
#define TN_TANK_TEXT(field, is)
#define TN_TANK_RANGE(field, least, most, fault)
#endif
#ifndef TN_MARK_TEXT
#define TN_MARK_TEXT(field, is)
#define TN_MARK_RANGE(field, least, most, fault)
#endif

TN_FAULT(kNone, "none")
TN_FAULT(kMagic, "not a node block")
TN_FAULT(kVersion, "version or length")
TN_FAULT(kChecksum, "checksum")
TN_FAULT(kName, "name")
TN_FAULT(kTiming, "timing")
TN_FAULT(kKind, "unknown kind")
TN_FAULT(kCount, "count of tanks or marks")
TN_FAULT(kPin, "pin missing or used twice")
TN_FAULT(kOrder, "marks not rising")
TN_FAULT(kPump, "marks of the pump")
TN_FAULT(kKey, "signing key")

TN_BLOCK_TEXT(node, is_label)
TN_BLOCK_TEXT(site, is_label)
TN_BLOCK_TEXT(board, is_release)
TN_BLOCK_TEXT(release, is_release)
TN_BLOCK_RANGE(signing_key[0], 4, 4, kKey)
TN_BLOCK_RANGE(debounce_ms, 1, 65535, kTiming)
TN_BLOCK_RANGE(sample_period_ms, 1, 65535, kTiming)
TN_BLOCK_RANGE(trial_s, 1, 65535, kTiming)
TN_BLOCK_RANGE(layout, 1, 2, kKind)
TN_BLOCK_RANGE(payload_format, 1, 3, kKind)
TN_BLOCK_RANGE(network_traits, 0, 15, kKind)
TN_BLOCK_RANGE(tank_count, 1, 4, kCount)

TN_TANK_TEXT(name, is_label)
TN_TANK_RANGE(mark_count, 1, 4, kCount)
TN_TANK_RANGE(pump_does, 0, 2, kKind)
TN_TANK_RANGE(pump_active_high, 0, 1, kKind)

TN_MARK_TEXT(name, is_label)
TN_MARK_RANGE(pull, 0, 2, kKind)

#undef TN_FAULT
#undef TN_BLOCK_TEXT
#undef TN_BLOCK_RANGE
#undef TN_TANK_TEXT
#undef TN_TANK_RANGE
#undef TN_MARK_TEXT
#undef TN_MARK_RANGE
