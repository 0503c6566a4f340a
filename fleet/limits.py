"""Every bound, timeout and size, with the failure that it prevents."""

from __future__ import annotations

from typing import Final

# --- inventory: no file may take the tool's memory or time (alias bombs, depth, huge scalars)
INVENTORY_FILE_BYTES: Final = 4 * 1024 * 1024
INVENTORY_FILES: Final = 2_000
INVENTORY_BYTES: Final = 64 * 1024 * 1024
"""All files together: about 80,000 nodes with their tanks."""
YAML_DEPTH: Final = 40
YAML_NODES: Final = 100_000
"""Values in one file: about 1,000 nodes with their tanks."""
YAML_KEYS: Final = 100
"""Keys of one mapping: the largest part has 18."""
YAML_SCALAR_CHARS: Final = 4_096
FINDINGS_SHOWN: Final = 200
FINDINGS_PER_FILE: Final = 500
"""After these the rest of a file is not looked at: a file of nothing but mistakes fills neither memory nor screen."""
QUOTED_LINE_CHARS: Final = 2_000
"""A longer line is not quoted in each of its findings."""
SUGGESTION_COMPARISONS: Final = 30_000
"""Words compared for all "did you mean" of one run: bounds the time for an inventory with all its names wrong."""
WINDOW_LONGEST_S: Final = 7 * 86_400
WINDOW_PERIODS: Final = 15_000
"""Days, weeks, months or years in a row that a rule is searched through: 29 February falls on a given day of the week
at least every 40 years (14,610 days). A rule that never opens would else be searched to the year 9999, in 7 to 12 s."""
WINDOW_SPAN_YEARS: Final = 100
"""From a window's first day: no board lives longer, and a rule that opens every 40 years ends here too."""
WINDOW_AHEAD_DAYS: Final = 400
"""How far ahead the next window is looked for: one that comes later is none to whoever plans an update."""
EARLIEST_YEAR: Final = 2_000
LATEST_YEAR: Final = 2_199
"""Of dates in an inventory: a daily window counted from the year 1 would be counted through anew at each look."""
QUANTITY_CHARS: Final = 48
SMALLEST_SIZE_M: Final = 1e-5
"""A hundredth of a millimetre: areas of still smaller sizes come out as 0, and the arithmetic would divide by them."""
SMALLEST_FLOW_L_PER_MIN: Final = 1e-7
"""A drop in eight hours: the time that still smaller ones take is beyond any clock, and at last beyond all numbers."""
SMALLEST_QUANTITY: Final = 1e-9
"""Of every other kind, in the model's unit: nothing here is so small, and what is divided by it stays a number."""

# --- names: RFC 1123 host label; the node block's fixed fields
LABEL_CHARS: Final = 63
BOARD_ID_CHARS: Final = 31
MARK_NAME_CHARS: Final = 11
RELEASE_CHARS: Final = 23
TANKS_PER_NODE: Final = 4
MARKS_PER_TANK: Final = 4
PIN_NAME_CHARS: Final = 16
LARGEST_GPIO: Final = 63
"""A bare number above it is no pin of any chip, but a slip."""
WIRE_COLOR_CHARS: Final = 24
STRAP_POINTS: Final = 200
REASON_CHARS: Final = 300
"""Of a ruling: a line that fits a report; a longer story belongs into `notes`."""

# --- node block and ticket (docs/node-interface.md 5 and 6)
NODE_BLOCK_BYTES: Final = 1_024
NODE_BLOCK_U16: Final = 65_535
"""The largest figure in the node block's fields of two bytes: millimetres, milliseconds, seconds."""
NODE_BLOCK_U32: Final = 4_294_967_295
"""The same of four bytes: a pump's times in seconds, 136 years."""
TICKET_BYTES: Final = 512

# --- firmware defaults: makers of level relays (0.1 to 10 s; 10 s of lock-out after a power cut), common practice
DEBOUNCE_MS: Final = 2_000
SAMPLE_PERIOD_MS: Final = 100
POWER_UP_HOLD_S: Final = 10
TRIAL_S: Final = 300
LONGEST_RUN_FACTOR: Final = 2.0
"""Longest run = this times the computed fill time (common practice: 1.5 to 2)."""
NETWORK_LOST_S: Final = 1_800
"""A node without its network for longer looks for it only now and then: a router is back in minutes."""
NO_RISE_FACTOR: Final = 1.5
"""No-rise watch = this times the longest stretch between two marks: shorter cries wolf, longer burns a dry pump."""
FIRST_RISE_LEAST_S: Final = 600.0
"""A long pipe must fill, a foot valve that leaks lets it drain: no pump is taken for dry before (own allowance)."""
DRY_RUN_MOST_S: Final = 7_200.0
"""A pump that runs dry for longer than this is no longer saved by being stopped (own allowance, on the far side)."""
DIES_UNSEEN_S: Final = 50_400.0
"""From the last look of one day to the first of the next, 18 h to 8 h (own allowance; a look a day: SI 2000/1870). A
watch that is longer leaves a dead pump to whoever comes by."""
SHORTEST_OFF_S: Final = 60
PUMP_RUN_UP_S: Final = 10.0
"""From the closing of the pump relay until the flow is the pump's own (own allowance: star-delta and soft starters take
up to ten seconds)."""
DEBOUNCE_MIN_S: Final = 1.0
"""Splashes and drops last up to this long: a shorter debounce believes them."""
DEBOUNCE_GOOD_S: Final = 10.0
"""Level relays go no further (0.1 to 10 s): a longer debounce is advised to nobody."""
PROBE_BAND_M: Final = 0.010
"""A drop hangs on a probe's tip and water clings to it: marks closer than this cannot be told apart (own allowance)."""
SHOWN_IMAGE_BYTES: Final = 512 * 1024
"""Size of the image for which `show` and `check` say what an update needs; a plan takes the true one."""
DEPTH_ROWS: Final = 2_000
"""A table of depths with more rows is a slip of the unit of its step."""
WATCH_FACTOR: Final = 5.0
"""A watch set by hand to more than this times what it would be comes too late to save a pump (own allowance)."""
MOST_HEAD_M: Final = 2_000.0
"""No well pump lifts water higher: the power or the flow is a slip of the unit (own allowance, on the far side)."""
VALVE_KW: Final = 0.05
"""The coil of a valve on a pressure main takes less, and lifts nothing: its power says nothing of the flow."""
MOTOR_MOST_M: Final = 0.6
"""Submersible motors go down wells, and are no wider: more is a slip of the unit (own allowance)."""
SINGLE_PHASE_KW: Final = 11.2
"""Pump motors of more than 15 hp are not made single-phase (Franklin Electric's list of motors ends there, from
memory): a supply of one phase would not start them."""
MOTOR_LEAST_M: Final = 0.06
"""The smallest submersible motors are for wells of 3 inches: less is a slip of the unit (own allowance)."""
MOTOR_STARTS_PER_HOUR: Final = (0.04, 120.0)
"""A motor's own figure outside of these was given per day or per minute (own allowance)."""
MOTOR_INERTIA_LB_FT2: Final = 20_000.0
"""More than the tables of motors of 200 kW have: a slip of the unit (own allowance)."""
POWER_LEAST_KW: Final = 0.001
"""The coil of the smallest valve takes a watt: less is mW for MW, or kW for W (own allowance)."""
POWER_MOST_KW: Final = 200.0
POWER_DC_MOST_KW: Final = 22.0
"""Larger pumps are not switched by such a node; larger ones on direct current are hardly made (own allowances)."""
FLOW_MOST_L_PER_MIN: Final = 20_000.0
"""A pipe of 400 mm carries it at 2.7 m/s: more is a slip of the unit (own allowance)."""
TANK_TURNED_OVER_S: Final = 30.0
"""A whole tank is not emptied or filled in less: a slip of the unit of a flow or a size (own allowance)."""
TANK_LASTS_DAYS: Final = 90.0
"""Below the worst draw a tank does not last longer: the mean, or a slip of the unit (own allowance)."""
TANK_FILLS_DAYS: Final = 14.0
"""A pump that takes longer to fill a tank was not chosen for it: a slip in the size or the flow (own allowance)."""
TANK_LEAST_L: Final = 20.0
"""Less is a bucket: a slip of the unit of a size (own allowance)."""
TANK_LEAST_M: Final = 0.15
"""Narrower or lower tanks hold no probes (own allowance)."""
LYING_MOST_M: Final = 4.6
"""Across a lying cylinder: more is not carried on a road (common practice: 4.2 to 4.5 m)."""
CONE_DEPTH: Final = (0.03, 1.5)
ELLIPSOID_DEPTH: Final = (0.1, 0.5)
"""Depth of ends as shares of their diameter: outside of these a slip of the unit (own allowances)."""
TABLE_LACK: Final = 0.07
TABLE_MENDED: Final = 3.0
TABLE_STEP: Final = 0.02
TABLE_JUMP: Final = 3.0
TABLE_OFF: Final = 0.3
"""A stretch of a strapping table that is narrower by the first than those on its two sides let it be has a slip of a
digit beside it, if without that line so much less is lacking (the second), and if one stretch beside the line is wider
by the third than those beyond, and the other narrower; at an end, if it is so many times wider than the next (the
fourth); or if the line is off the curve through its neighbours by the last, and the others are not (own allowances)."""
RESERVE_LEAST_M: Final = 0.01
RESERVE_SHARE: Final = 0.9
"""Of the water below the highest mark: a larger reserve leaves nothing to use (own allowances; fire tanks aside)."""
OVERFLOW_LEAST_SHARE: Final = 1 / 3
"""Of a tank's height: a lower overflow was measured from the top (own allowance)."""
STOCK_US_PER_CM: Final = 16_000.0
CROP_US_PER_CM: Final = 3_000.0
"""Above these, water for stock is not recommended whatever the animal (10,000 mg/L of dissolved salts, at 640 mg/L for
1,000 uS/cm), and for irrigation its use is severely restricted (FAO irrigation and drainage paper 29, table 1)."""
RUN_ON_MOST_S: Final = 60.0
NETWORK_LOST_RANGE_S: Final = (60.0, 7 * 86_400.0)
TRIAL_MOST_S: Final = 14_400.0
"""Times outside of these are slips of the unit (own allowances)."""
SOAK_LEAST_S: Final = 30.0
"""An image that was hardly watched would be kept (own rule)."""
FAILURES_MOST: Final = 0.5
PILOT_SHARE_MOST: Final = 0.5
FIRST_WAVE_SHARE: Final = 0.5
FIRST_WAVE_OF: Final = 10
"""A gate or a pilot beyond these stops nothing; fleets of fewer nodes may go in one wave (own rules)."""
CABLE_MOST_M: Final = 500.0
"""A longer cable to probes is a slip of the unit (own allowance)."""
FITTED_FROM_YEAR: Final = 2014
"""No such board was sold before (from memory)."""
RUN_ON_S: Final = 2.0
"""From the opening of the pump relay until the flow stops, unless the inventory says otherwise (own allowance for a
contactor, the motor's run-down and a check valve)."""

# --- link: a node that hangs must not hang the tool
CONNECT_TIMEOUT_S: Final = 5.0
ANSWER_TIMEOUT_S: Final = 10.0
SEND_BEGINS_S: Final = 30.0
"""From a node's answer to the first byte of an image: a send that has not begun by then is given up, and the node asked
again, for its water has moved on. Three times what a nonce and the head of a request take on slow WiFi (own
allowance)."""
STATE_AGE_S: Final = CONNECT_TIMEOUT_S + ANSWER_TIMEOUT_S + SEND_BEGINS_S
"""The age of what a node said of its marks when the first byte of an image comes, at most: it said so while it was
asked. The water goes by the worst outage from then on."""
SEND_STALL_TIMEOUT_S: Final = 20.0
BODY_GRACE_S: Final = 10.0
"""A node waits no longer for a whole image than this and its size at SLOWEST_SEND_BYTES_PER_S: its pumps are
off meanwhile (kBodyMs of the firmware's core)."""
SLOWEST_SEND_BYTES_PER_S: Final = 10_000.0
"""The slowest transfer that a node stands (kSlowestBytesPerMs)."""
CROWDED_WAIT_S: Final = 6.0
"""A node drops whoever holds its connections without need within a tenth of a second; this covers a crowd at its
door."""
CROWDED_RETRY_S: Final = 0.2
STATE_TRIES: Final = 3
"""Answers without a good signature until whatever answers there is called an impostor: one that was forged or garbled
in between must not make it one."""
CHANGE_TRIES: Final = 3
"""Signed refusals of a request that the node did not believe, until it is said that something changes what is sent."""
ANSWER_GRACE_S: Final = 5.0
"""An answer that has begun comes at SLOWEST_ANSWER_BYTES_PER_S after this: a byte now and then must not hold the
tool."""
SLOWEST_ANSWER_BYTES_PER_S: Final = 10_000.0
SLOWEST_ERASE_S: Final = 9.0
"""For SEND_CHUNK_BYTES of flash, at worst: a node takes that long without being slow."""
FOREIGN_TEXT_CHARS: Final = 200
"""Shown of what others sent: a name or message that fills the screen hides what the tool says."""
STATE_DOCUMENT_BYTES: Final = 16 * 1024
IMAGE_BYTES: Final = 4 * 1024 * 1024

# --- networks: what boards see of them
CHANNELS: Final = 14
"""Of the 2.4 GHz band; which are open differs by country (IEEE 802.11, annex E)."""
ACTIVE_CHANNELS: Final = 11
"""Boards ask on channels up to this one, and only listen on those above (IDF v4.4.7 wifi.rst, "Wi-Fi Country Code")."""
ACCESS_POINTS_PER_SITE: Final = 500
"""A slip that repeats a line must not make every look at a BSSID long; a large estate has some hundred."""
BSSIDS_PER_ACCESS_POINT: Final = 64
"""Some radios carry 16 networks each, and an access point has up to four radios."""
WEAK_SIGNAL_DBM: Final = -75
"""Weaker, frames are sent several times over and links break (common practice: designs aim at -67 dBm; -70 to -75 is
where surveyors begin to call a signal weak)."""

# --- bench: a virtual node that ends at once must not take the machine, nor leave its log or events to grow
BENCH_PORT: Final = 8080
BENCH_SUBNETS: Final = tuple(range(100, 180))
"""N of the addresses 127.N.x.y that a bench takes by itself; the others are left to `--subnet` and to other programs,
whose addresses it would else collide with."""
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
BENCH_START_TIMEOUT_S: Final = 20.0
BENCH_FLASH_TIMEOUT_S: Final = 20.0
BENCH_TELL_S: Final = 1.5
"""Nothing is silent for longer than 2 s."""
BENCH_CONTROL_TIMEOUT_S: Final = 10.0
BENCH_MESSAGE_BYTES: Final = 4 * 1024 * 1024
BENCH_EVENTS: Final = 2_000
BENCH_NODE_LOG_BYTES: Final = 1024 * 1024
BENCH_TABLE_POINTS: Final = 400

# --- link, continued: what a node's answer may hold (docs/node-interface.md 2 and 4)
ANSWER_BYTES: Final = 4 * 1024
"""Of an answer to a changing request; a longer one is not a node's, and must not fill the memory."""
SEND_CHUNK_BYTES: Final = 64 * 1024
"""Written at a time: 500 transfers that stall at once hold at most one each, 32 MiB in all. At the slowest that a node
stands it takes 6.6 s, and its erasing at worst 9 s: well under SEND_STALL_TIMEOUT_S."""
CONNECTIONS_AT_ONCE: Final = 600
"""Open sockets of one run: under the usual 1,024 descriptors of a process."""
STATE_TEXT_CHARS: Final = 128
STATE_FAULTS: Final = 16
NONCE_BYTES: Final = 16
NONCE_CHARS_MIN: Final = 22
NONCE_CHARS_MAX: Final = 64
SEND_BUFFER_BYTES: Final = 64 * 1024
"""In the kernel per transfer (it doubles this): with more, an image counts as sent before the node has any of it."""
SEND_FINISH_TIMEOUT_S: Final = 45.0
"""From the last byte handed over to the answer: what sits in both kernels at 10 kB/s, and the node's last check."""

# --- keys: a key file that is a mountain of something else is not read whole
KEY_FILE_BYTES: Final = 64 * 1024

# --- build: one compiler that hangs must not hang a build for ever; progress is never silent for 2 s
COMPILE_TIMEOUT_S: Final = 900.0
PROGRESS_EVERY_S: Final = 0.9
FETCH_REACH_S: Final = 5.0
"""Without a network it is said within 10 s, the start of the fetcher included."""
FETCH_QUIET_S: Final = 20.0
"""Without a byte: the connection is given up and asked anew. One that hangs would else hold a build for ever."""
FETCH_STALL_S: Final = 75.0
"""Without a byte, over all connections: nothing comes any more. As long as bytes come there is no limit."""
FETCH_TRIES: Final = 3
"""In a row that bring nothing."""
UNPACK_STALL_S: Final = 900.0
"""Without one more file: a slow card needs minutes for the list of a large archive, of which nothing is told."""
BUILD_LOG_TAIL_LINES: Final = 25
"""Lines of a failed build that are shown; the whole log is named beside them."""
FSYNCS_AT_ONCE: Final = 16
SHELF_BATCH: Final = 64
"""Images written before they are made durable together: bounds open files."""
PROGRAMS_KEPT: Final = 64
"""Compiled programs kept in the build folder, newest first: it must not grow without end."""

# --- push: nobody may be left waiting for ever, and no node may be left on trial with nobody watching
CONFIDENCE: Final = 0.95
PLAN_FILE_BYTES: Final = 32 * 1024 * 1024
KEEP_RESERVE_S: Final = 15.0
"""Before a trial's end, to say keep and say it again: else a good image falls back because a word was lost."""
SITE_SHARE_PER_WAVE: Final = 0.5
"""A bad image must not take all eyes off a site at once."""
AT_ONCE_PER_ACCESS_POINT: Final = 2
"""Transfers through one access point share its air; more of them stall each other."""
RETURN_WITHIN_MIN_S: Final = 20.0
"""Even the quickest board needs this to restart and get an address; less would call good nodes late."""
EXPECTED_SHARE_OF_WORST: Final = 0.25
"""A sector erase takes 70 ms as a rule and 500 ms at worst (facts H), so what is expected is well below the worst."""
HELD_OFF_RETRY_S: Final = 60.0
HELD_OFF_TRIES: Final = 6
"""A tank that cannot spare its controller for this many questions will not soon: the push must end."""
READY_RETRY_S: Final = 5.0
READY_TRIES: Final = 3
SEND_TRIES: Final = 3
"""Transfers begun to one node, where the ones before were cut off before the node had the image."""
UNSURE_SETTLE_S: Final = 5.0
"""A node that took an image restarts within a second; one that still runs the old image after this did not take it."""
STARTS_THERE_AND_BACK: Final = 2
"""Starts that going to an image and back from it takes at least; a power cut alone is one."""
RETURN_POLL_S: Final = 1.0
SOAK_POLLS: Final = 10
SOAK_POLL_MAX_S: Final = 5.0
"""Well under KEEP_RESERVE_S, so that a trial's end is not slept through."""
SOAK_MISSES: Final = 3
"""Questions in a row without an answer during the soak: one lost packet is no fault, silence is."""
KEEP_TRIES: Final = 5
KEEP_RETRY_S: Final = 1.0
BACK_TRIES: Final = 3
BACK_RESTART_S: Final = 10.0
"""After it said yes to going back, a node restarts within a second; after this it is told again."""
BACK_PATIENCE_S: Final = 120.0
"""A kept node that is to go back and does not answer for this long is lost to the push."""
GATE_FREE_BYTES_SHARE: Final = 0.75
"""Free memory may fall to this share of what it was before: less is a leak or a much larger image."""
GATE_LARGEST_BLOCK_SHARE: Final = 0.6
"""The largest block may fall to this share of what it was before: less is memory in shreds, with which requests are
refused long before all of it is used. Lower than for free memory: it moves with every connection (common practice)."""
TRIAL_STARTS: Final = 8
"""A node gives an image on trial so many starts in all (kTrialStarts), each with a whole trial: the plan allows for
them where a supply is known to give way."""
BROWN_OUT_STARTS: Final = 4
"""The first start and those after brown-outs (kBrownOutTries): all that an image gets where a boot loader that is not
ours goes back after any other restart."""
TICKET_CHECK_BLOCK_BYTES: Final = 6_264
"""Bytes in one piece that an ESP8266 takes for the second stack on which BearSSL checks a signature (core 3.1.2,
StackThunk): with less it refuses every ticket, so no update ever mends it."""
ONE_CAUSE_NODES: Final = 2
ONE_CAUSE_SHARE: Final = 0.5
"""More than this share of a wave, and at least so many nodes, that fail for one cause of their own are no chance any
more: for their supply, then the image draws too much, and the rest of the fleet must not get it; for their link,
then the network is broken, and more transfers only add to it."""
GATE_SIGNAL_DROP_DB: Final = 12
"""The signal of a fixed node wanders by a few dB; more came with the image."""
GATE_LEVEL_FACTOR: Final = 1.5
GATE_LEVEL_SLACK_S: Final = 10.0
"""Debounce, the age of the state and the clock's grain, before a level is said to have moved too far."""
GATE_SETTLED_AFTER_S: Final = 30.0
"""Marks that still settle this long after a start are a probe that flickers."""
REQUEST_POLL_S: Final = 0.5
REQUEST_TAKEN_S: Final = 5.0
"""How long a command that steers a push waits for the runner's word that it was heard."""
JOURNAL_BUSY_S: Final = 5.0
LOCK_TRIES: Final = 5
LOCK_RETRY_S: Final = 0.02
"""Whoever looks who runs a push holds its lock for a moment: `resume` after a power cut must not fail for that."""
SCREEN_PER_SECOND: Final = 4
"""Drawings of a push: on a terminal nothing stands still for 2 s."""
HEARTBEAT_S: Final = 1.6
"""Off a terminal what is awaited is named after this: nothing is silent for longer than 2 s."""
HEARTBEAT_LOOK_S: Final = 0.2
INTERRUPT_GRACE_S: Final = 20.0
"""After Ctrl-C, transfers under way may end; a node that stalls must not hold the person."""
NODE_LINES_SHOWN: Final = 10
"""Lines per node under a push's waves: with the rest, 200 nodes fit 24 rows."""
WAVE_LINES_SHOWN: Final = 8
ASK_BEFORE_NODES: Final = 1
"""More nodes than this, and a push asks for a word first."""

# --- find: replies of a whole fleet arrive at once; nothing that announces itself may fill memory or hold the tool up
MDNS_RECEIVE_BUFFER_BYTES: Final = 4 * 1024 * 1024
"""The usual 208 KiB drops replies from about 170 nodes on."""
FIND_TIMEOUT_S: Final = 8.0
KEYS_LOOK_S: Final = 2.0
"""How long new keys wait for a node that has others: one round of a search, for who answers at all answers in it."""
FIND_ROUND_S: Final = 2.0
"""After this a fresh browser asks anew and last known addresses are tried, so that one lost packet costs no more."""
FIND_QUIET_S: Final = 0.5
"""Nothing new for this long after all are seen: RFC 6762 6 allows 120 ms for an answer, a sleeping radio 300 more."""
FIND_STEP_S: Final = 0.1
FIND_TELL_S: Final = 1.5
RESOLVE_AFTER_S: Final = 0.2
RESOLVE_TIMEOUT_S: Final = 1.5
RESOLVE_AT_ONCE: Final = 32
CONFIRM_AT_ONCE: Final = 64
FIND_TURN_S: Final = 0.5
"""How long a place is asked before others that wait get their turn; twice as long each next time. A node on a good link
answers in a fifth of it; 64 places at once and 8 s are turns for 1,000 that hold whoever asks."""
CONFIRM_CONNECT_TIMEOUT_S: Final = 2.0
CONFIRM_ANSWER_TIMEOUT_S: Final = 4.0
CONFIRM_WHOLE_S: Final = 2 * (CONFIRM_CONNECT_TIMEOUT_S + CONFIRM_ANSWER_TIMEOUT_S)
"""For all that is asked at one place, and for what still runs when a search is over: the slowest honest answer, twice.
Whoever answers slowly and proves nothing would else be asked up to seven times, for a minute."""
SIGHTINGS: Final = 20_000
"""Announcements looked at in one run: a flood of made-up names ends here."""
PLACES_TOLD: Final = 8
"""Places of one outcome that are told of one by one: thousands that claim a name must not hide what else is said."""
SEEN_FILE_BYTES: Final = 8 * 1024 * 1024
RELOCATE_AFTER_MISSES: Final = 8
"""Questions without an answer, a second apart, before a node is looked for at another address."""
RELOCATE_EVERY_S: Final = 15.0
RELOCATE_TIMEOUT_S: Final = 4.0

# --- audit: a journal of many years is not read whole
AUDITED_PUSHES: Final = 200
"""The newest pushes that an audit looks at."""

# --- images of the ESP chips: what a damaged head says is not believed
ESP_SEGMENTS: Final = 16
"""Most segments of an image (ESP-IDF, esp_app_format.h: ESP_IMAGE_MAX_SEGMENTS)."""

# --- first flash: a board that keeps talking must not fill memory, one that says nothing must not hold the person
FLASH_HEARD_BYTES: Final = 4_096
"""Of what came in last: boot messages and a brown-out's, for the diagnosis."""
FLASH_BAUD: Final = 460_800
"""USB bridges and esptool's stub manage this over a good cable (common practice)."""
FLASH_ROM_BAUD: Final = 115_200
"""What every chip's own loader speaks at first."""
FLASH_CONNECT_TRIES: Final = 7
"""Resets into download mode before giving up, about 10 s; esptool's own number."""
FLASH_READ_BACK_BYTES: Final = 16 * 1024
"""Parts up to this are read back byte for byte; of larger ones the chip's own digest of its flash is compared."""
FLASH_READ_BACK_GAP_BYTES: Final = 64 * 1024
"""Small parts nearer than this are read back in one run: what lies between takes 1.5 s, a run of its own more."""
FLASH_STATE_TIMEOUT_S: Final = 60.0
"""A board starts, joins a network and gets an address in much less, if it can at all."""

# --- rejoin: no node may be left between two networks with nobody watching, and nobody may be left waiting for ever
NETWORK_TRIAL_S: Final = 600.0
"""Ten minutes: time to walk to an access point and change it, and not so long that a mistake costs an afternoon."""
NETWORK_TRIAL_MIN_S: Final = 60
NETWORK_TRIAL_MAX_S: Final = 65_535
"""What the two bytes of the request hold; under a minute a board may not even have tried both networks."""
NETWORK_TURN_S: Final = 30.0
"""With two networks to call for, a node calls for one this long before the other has its turn (core/join.h)."""
REJOIN_AT_ONCE: Final = 4
"""Nodes between two networks at the same time: the others still tell how the site stands."""
REJOIN_POLL_S: Final = 2.0
REJOIN_LEAVES_S: Final = 90.0
"""A node tries the new network for 30 s, then the old: who is on the old one after this did not get into the new."""
REJOIN_BACK_S: Final = 90.0
"""From a trial's end until a node that went back by itself must have answered: joining, an address, a look around."""
REJOIN_GIVE_TRIES: Final = 3
REJOIN_GIVE_RETRY_S: Final = 5.0
REJOIN_TELL_S: Final = 1.5
"""Nothing is silent for longer than 2 s."""

# --- wiring: a list of every pin of a board helps nobody to choose one
PINS_OFFERED: Final = 4
HOLD_OFF_OHM: Final = (10_000, 3_300, 1_000)
RELAY_OFF_V: Final = 0.5
"""A relay's input is held off while its pin floats: by the largest of these that leaves no more against a pull of the
chip, for a transistor opens at 0.6 V (from memory); at HIGH, 1 kohm takes 3.3 mA of the 12 that a pin gives."""

# --- sheets: a browser that hangs must not hang the person
SHEET_PDF_TIMEOUT_S: Final = 90.0
"""A site of a hundred nodes takes a headless browser some seconds; a first start on a small machine about twenty."""

# --- electrodes: what must be allowed for between a clean sheet of paper and an old tank
SUPPLY_V: Final = 3.3
LOW_SHARE: Final = 0.25
HIGH_SHARE: Final = 0.75
"""Of the supply: input limits of the ESP32 family and of the ESP8266 (their data sheets, DC characteristics)."""
LOADED_PROBE_OHM: Final = 1000.0
"""A board that lets a probe read only water below this is no place for it: two ordinary rods have 80 ohm to 4 kohm
in drinking water of 1,500 to 50 uS/cm (R = K / conductivity, K = 0.12 /cm)."""
MEASURED_SPREAD: Final = 0.2
"""A conductivity measured once is not that of every season (own allowance)."""
FILM_WET_FACTOR: Final = 3.0
"""Scale or slime on electrodes insulates: so many times the resistance of clean ones (own allowance)."""
SPLASH_MM: Final = 0.1
SLIME_MM: Final = 0.5
"""Thickness of the film of water that stays on a holder: drops, or drops held by slime (own allowances)."""
CABLE_LEAK_OHM_M: Final = 100e6
"""Insulation of an old damp cable with its joints: 1 Mohm at 100 m (own allowance; a new one has far more)."""
CABLE_PF_PER_M: Final = 100.0
"""Core to core of an ordinary multi-core cable (common practice)."""
PIN_PF: Final = 10.0
"""A pin and its board (own allowance; the ESP32 data sheet gives 2 pF for the pin alone)."""
RESISTOR_TOLERANCE: Final = 0.05
RELAY_LED_V: Final = 1.2
"""An optocoupler's LED conducts from about this on (data sheets, typical): less must be left when a pin is HIGH."""
ELECTRODE_CURRENT_UA: Final = 100.0
"""More direct current wears electrodes away and coats them (from memory); level relays use alternating current."""
FEED_SETTLE_S: Final = 0.003
"""How long the firmware waits after it has turned a feed on (kFeedSettleUs of the ports): a longer cable or a larger
resistor, and a dry probe still reads wet."""
FEED_CURRENT_UA: Final = 12_000.0
"""A pin that gives more may be below 0.8 of the supply (ESP8266 data sheet, DC characteristics: 12 mA; the ESP32s give
20 mA and more): the dry probes it feeds then read anything."""
CELL_LEAST_PER_CM: Final = 0.005
CELL_MOST_PER_CM: Final = 50.0
"""Cells of conductivity meters have 0.01 to 10 /cm (common practice): far outside of that is a slip of a unit."""
SEA_US_PER_CM: Final = 60_000.0
"""Standard sea water has 42,914 uS/cm at 15 C (TEOS-10, after Culkin and Smith 1980), and about 2 % more for each
degree: more than 60,000 in a tank is a slip of the unit."""
WATER_KIND_FACTOR: Final = 3.0
"""A measured conductivity so far outside of what its kind of water has is a slip of one of the two (own allowance)."""
DRINKING_US_PER_CM: Final = 2790.0
DRINKING_SOURCE: Final = "German limit for drinking water (hercowater.com)"
"""Of that figure."""
LITTLE_US_PER_CM: Final = 60.0
"""Water that conducts less at its best needs electrodes made for it; drinking water has 50 and more."""
LARGEST_PULL_UP_OHM: Final = 1e6
"""An input leaks up to 50 nA (ESP32 and ESP8266 data sheets): 50 mV at 1 Mohm, and more is at the mercy of dust."""
