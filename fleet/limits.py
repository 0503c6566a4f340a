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

# --- names: RFC 1123 host label; the node block's fixed fields
LABEL_CHARS: Final = 63
BOARD_ID_CHARS: Final = 31
MARK_NAME_CHARS: Final = 11
RELEASE_CHARS: Final = 23
TANKS_PER_NODE: Final = 4
MARKS_PER_TANK: Final = 4

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
