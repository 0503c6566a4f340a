"""Every bound, timeout and size, with the failure that it prevents."""

from __future__ import annotations

from typing import Final

# --- inventory: no file may take the tool's memory or time (alias bombs, depth, huge scalars)
INVENTORY_FILE_BYTES: Final = 8 * 1024 * 1024
INVENTORY_FILES: Final = 2_000
YAML_DEPTH: Final = 40
YAML_NODES: Final = 2_000_000
YAML_SCALAR_CHARS: Final = 4_096
FINDINGS_SHOWN: Final = 200
QUANTITY_CHARS: Final = 48

# --- names: RFC 1123 host label; the node block's fixed fields
LABEL_CHARS: Final = 63
BOARD_ID_CHARS: Final = 31
MARK_NAME_CHARS: Final = 11
RELEASE_CHARS: Final = 23
TANKS_PER_NODE: Final = 4
MARKS_PER_TANK: Final = 4
PIN_NAME_CHARS: Final = 16
STRAP_POINTS: Final = 200

# --- node block and ticket (docs/node-interface.md 5 and 6)
NODE_BLOCK_BYTES: Final = 1_024
TICKET_BYTES: Final = 512

# --- firmware defaults: facts D3 and F (relays 0.1-10 s; 10 s restart lock-out), common practice
DEBOUNCE_MS: Final = 2_000
SAMPLE_PERIOD_MS: Final = 100
POWER_UP_HOLD_S: Final = 10
TRIAL_S: Final = 300
LONGEST_RUN_FACTOR: Final = 2.0
"""Longest run = this times the computed fill time (facts E3: watchdog factor 1.5-2)."""
SHORTEST_OFF_S: Final = 60

# --- link: a node that hangs must not hang the tool
CONNECT_TIMEOUT_S: Final = 5.0
ANSWER_TIMEOUT_S: Final = 10.0
SEND_STALL_TIMEOUT_S: Final = 20.0
STATE_DOCUMENT_BYTES: Final = 16 * 1024
IMAGE_BYTES: Final = 4 * 1024 * 1024

# --- bench: a virtual node that ends at once must not take the machine, nor leave its log or events to grow
BENCH_PORT: Final = 8080
BENCH_NODES: Final = 250
"""Two cores hold about 200 virtual nodes; more would starve their watchdogs."""
BENCH_SPEED: Final = 120.0
"""At ten steps a second, faster water would jump past a mark between two samples."""
BENCH_TICK_S: Final = 0.1
BENCH_BOOT_DELAY_S: Final = 0.3
BENCH_WATCHDOG_S: Final = 8.0
"""A hung node must come back by itself; hardware watchdogs of these chips are set to about as much (from memory)."""
BENCH_WATCHDOG_STEP_S: Final = 1.0
"""Most that one step counts towards the watchdog: a bench that was itself held up must not blame its nodes."""
BENCH_QUICK_STARTS: Final = 5
"""Starts in a row without back-off; above the three after which the firmware falls back by itself."""
BENCH_QUICK_END_S: Final = 5.0
BENCH_BACK_OFF_S: Final = 15.0
BENCH_READY_TIMEOUT_S: Final = 30.0
BENCH_END_TIMEOUT_S: Final = 10.0
BENCH_CONTROL_TIMEOUT_S: Final = 10.0
BENCH_MESSAGE_BYTES: Final = 4 * 1024 * 1024
BENCH_EVENTS: Final = 2_000
BENCH_NODE_LOG_BYTES: Final = 1024 * 1024
BENCH_TABLE_POINTS: Final = 400

# --- link, continued: what a node's answer may hold (docs/node-interface.md 2 and 4)
ANSWER_BYTES: Final = 4 * 1024
"""Of an answer to a changing request; a longer one is not a node's, and must not fill the memory."""
SEND_CHUNK_BYTES: Final = 32 * 1024
"""Written at a time: 500 transfers that stall at once hold one chunk each, 16 MiB in all (design 11, P3)."""
CONNECTIONS_AT_ONCE: Final = 600
"""Open sockets of one run: under the usual 1,024 descriptors of a process."""
STATE_TEXT_CHARS: Final = 128
STATE_FAULTS: Final = 16
NONCE_BYTES: Final = 16
NONCE_CHARS_MIN: Final = 22
NONCE_CHARS_MAX: Final = 64
SEND_BUFFER_BYTES: Final = 64 * 1024
"""In the kernel per transfer (it doubles this): more, and a whole image counts as sent before the node has any of it."""
SEND_FINISH_TIMEOUT_S: Final = 45.0
"""From the last byte handed over to the answer: what still sits in both kernels at 8 KiB/s, and the node's last check."""

# --- keys: a key file that is a mountain of something else is not read whole
KEY_FILE_BYTES: Final = 64 * 1024

# --- build: one compiler that hangs must not hang a build for ever; progress is never silent for 2 s (habits 2.16)
COMPILE_TIMEOUT_S: Final = 900.0
PROGRESS_EVERY_S: Final = 1.0
BUILD_LOG_TAIL_LINES: Final = 25
"""Lines of a failed build that are shown; the whole log is named beside them."""
SHELF_BATCH: Final = 64
"""Images written before they are made durable together: bounds open files."""
REFUSAL_TEXT_CHARS: Final = 200
"""Of what a node writes into a message of ours."""
