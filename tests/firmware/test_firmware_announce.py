"""The node's DNS-SD responder, byte by byte (RFC 6762, RFC 6763), read and asked by python-zeroconf's own packets."""

from __future__ import annotations

import itertools
import random
import select
import socket
import struct
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from zeroconf import DNSIncoming, DNSOutgoing, DNSQuestion
from zeroconf import const as dns
from zeroconf._dns import DNSAddress, DNSPointer, DNSService, DNSText

from tests.firmware.firmware_build import compile_program, run_program

HOST = "templates/firmware/ports/host"
BYTES = [f"{HOST}/{name}.cpp" for name in ("mdns_name", "mdns_read", "mdns_write")]
TYPE = "_tanknode._tcp.local."
INSTANCE, HOSTNAME = f"upper-barn.{TYPE}", "upper-barn.local."
ENUMERATION = "_services._dns-sd._udp.local."
ENUM, PTR, SRV, TXT, A, NSEC_SERVICE, NSEC_HOST = (1 << i for i in range(7))
ANSWER, GOODBYE, LEGACY = range(3)
FLUSH = dns._CLASS_UNIQUE
TEXT = b"".join(
    bytes([len(item)]) + item
    for item in (
        b"id=upper-barn",
        b"release=1.4.0",
        b"img=0123456789abcdef",
        b"board=esp32-devkit",
        b"phase=on-trial",
    )
)


@cache
def _tool() -> Path:
    return compile_program(["tests/firmware/mdns_tool.cpp", *BYTES])


def ask(lines: Sequence[str]) -> list[str]:
    return run_program(_tool(), stdin="".join(f"{line}\n" for line in lines).encode()).splitlines()


def asked(packet: bytes) -> dict[str, int] | None:
    """What the node makes of a query; None when it is refused."""
    answer = ask([f"read {packet.hex()}"])[0]
    if answer == "refused":
        return None
    words = answer.split()
    return dict(zip(words[::2], map(int, words[1::2]), strict=True))


def written(
    records: int, kind: int = ANSWER, query: bytes = b"", question_bytes: int = 0, room: int = 1472
) -> bytes:
    return bytes.fromhex(ask([f"write {records} {kind} {query.hex() or '-'} {question_bytes} {room}"])[0])


def query(
    *questions: tuple[str, int], unicast: bool = False, known: Sequence[Any] = (), flags: int = 0
) -> bytes:
    out = DNSOutgoing(dns._FLAGS_QR_QUERY | flags)
    for name, kind in questions:
        question = DNSQuestion(name, kind, dns._CLASS_IN)
        question.unicast = unicast
        out.add_question(question)
    for record in known:
        out.add_answer_at_time(record, 0)
    return bytes(out.packets()[0])


# --- what is asked for


@pytest.mark.parametrize(
    ("name", "kind", "records"),
    [
        (ENUMERATION, dns._TYPE_PTR, ENUM),
        (TYPE, dns._TYPE_PTR, PTR),
        (TYPE.upper(), dns._TYPE_PTR, PTR),  # RFC 6762 section 16: names are compared without case
        (INSTANCE, dns._TYPE_SRV, SRV),
        (INSTANCE, dns._TYPE_TXT, TXT),
        (INSTANCE, dns._TYPE_ANY, SRV | TXT),
        (INSTANCE, dns._TYPE_A, NSEC_SERVICE),
        (HOSTNAME, dns._TYPE_A, A),
        (HOSTNAME, dns._TYPE_ANY, A),
        (HOSTNAME, dns._TYPE_AAAA, NSEC_HOST),  # section 6.1: what a node surely has not
        (TYPE, dns._TYPE_SRV, 0),
        (f"lower-barn.{TYPE}", dns._TYPE_SRV, 0),
        ("upper-barn2.local.", dns._TYPE_A, 0),
        ("_http._tcp.local.", dns._TYPE_PTR, 0),
        ("local.", dns._TYPE_ANY, 0),
    ],
)
@pytest.mark.parametrize("unicast", [False, True])
def test_question(name: str, kind: int, records: int, unicast: bool) -> None:
    packet = query((name, kind), unicast=unicast)
    said = asked(packet)
    assert said is not None
    wanted = (0, records) if unicast else (records, 0)
    assert (said["multicast"], said["unicast"]) == wanted
    assert said["question"] == (len(packet) - 12 if records else 0)


def test_several_questions_in_one_packet() -> None:
    said = asked(query((TYPE, dns._TYPE_PTR), (INSTANCE, dns._TYPE_TXT), (HOSTNAME, dns._TYPE_A)))
    assert said is not None
    assert said["multicast"] == PTR | TXT | A


def _known(life_s: int = 4500, **changes: Any) -> list[Any]:
    """The records of the node as another host may know them."""
    facts = {
        "port": 8080,
        "server": HOSTNAME,
        "text": TEXT,
        "address": bytes([127, 9, 0, 1]),
        "alias": INSTANCE,
    }
    facts.update(changes)
    host_life_s = life_s * 120 // 4500
    return [
        DNSPointer(TYPE, dns._TYPE_PTR, dns._CLASS_IN, life_s, facts["alias"]),
        DNSService(INSTANCE, dns._TYPE_SRV, dns._CLASS_IN, host_life_s, 0, 0, facts["port"], facts["server"]),
        DNSText(INSTANCE, dns._TYPE_TXT, dns._CLASS_IN, life_s, facts["text"]),
        DNSAddress(HOSTNAME, dns._TYPE_A, dns._CLASS_IN, host_life_s, facts["address"]),
    ]


_EVERYTHING = ((TYPE, dns._TYPE_PTR), (INSTANCE, dns._TYPE_ANY), (HOSTNAME, dns._TYPE_A))


def test_known_answers_are_not_repeated() -> None:
    """RFC 6762 section 7.1: with the same data and at least half of the life left."""
    said = asked(query(*_EVERYTHING, known=_known()))
    assert said is not None
    assert (said["multicast"], said["known"]) == (0, PTR | SRV | TXT | A)
    said = asked(query(*_EVERYTHING, known=_known(life_s=2250)))
    assert said is not None
    assert said["multicast"] == 0
    said = asked(query(*_EVERYTHING, known=_known(life_s=2200)))
    assert said is not None
    assert said["multicast"] == PTR | SRV | TXT | A


@pytest.mark.parametrize(
    ("change", "record"),
    [
        ({"port": 8081}, SRV),
        ({"server": "lower-barn.local."}, SRV),
        ({"text": TEXT[:-1] + b"x"}, TXT),
        ({"text": TEXT + b"\x01a"}, TXT),
        ({"text": TEXT[:-15]}, TXT),
        ({"address": bytes([127, 9, 0, 2])}, A),
        ({"alias": f"lower-barn.{TYPE}"}, PTR),
    ],
)
def test_answers_known_with_other_data_are_repeated(change: dict[str, Any], record: int) -> None:
    said = asked(query(*_EVERYTHING, known=_known(**change)))
    assert said is not None
    assert said["multicast"] == record


def test_more_known_answers_follow() -> None:
    said = asked(query((TYPE, dns._TYPE_PTR), flags=dns._FLAGS_TC))
    assert said is not None
    assert (said["truncated"], said["continues"], said["multicast"]) == (1, 0, PTR)
    said = asked(query(known=_known()))
    assert said is not None
    assert (said["truncated"], said["continues"], said["known"]) == (0, 1, PTR | SRV | TXT | A)


def test_answers_of_others_and_other_operations_are_not_queries() -> None:
    packet = query((TYPE, dns._TYPE_PTR))
    assert asked(written(PTR)) is None
    assert asked(packet[:2] + b"\x08\x00" + packet[4:]) is None  # opcode 1
    assert asked(packet[:2] + b"\x84\x00" + packet[4:]) is None


def test_compressed_names_are_read_and_loops_refused() -> None:
    head = struct.pack("!HHHHHH", 0, 0, 2, 0, 0, 0)
    first = b"\x09_tanknode\x04_tcp\x05local\x00\x00\x0c\x00\x01"
    second = b"\x0aupper-barn\xc0\x0c\x00\x21\x00\x01"
    said = asked(head + first + second)
    assert said is not None
    assert said["multicast"] == PTR | SRV
    loops = [
        b"\xc0\x0c\x00\x0c\x00\x01",  # to itself
        b"\x01a\xc0\x0c\x00\x0c\x00\x01",  # to before itself, again and again
        b"\xc0\x0e\xc0\x0c\x00\x0c\x00\x01",  # forwards, then back
        b"\xc0\xff\x00\x0c\x00\x01",
        b"\x40" + b"a" * 64 + b"\x00\x00\x0c\x00\x01",  # a label of 64
        b"\x3f" + (b"a" * 63 + b"\x3f") * 4 + b"a" * 63 + b"\x00\x00\x0c\x00\x01",  # a name of more than 255
    ]
    one = struct.pack("!HHHHHH", 0, 0, 1, 0, 0, 0)
    assert [asked(one + loop) for loop in loops] == [None] * len(loops)


def test_cut_and_mutated_packets_are_survived() -> None:
    """Under the address sanitizer, from buffers that are exactly as long as the packet."""
    whole = query(*_EVERYTHING, known=_known())
    chosen = random.Random(6762)
    packets = [whole[:n] for n in range(len(whole))]
    for _ in range(8_000):
        packet = bytearray(whole)
        for _ in range(chosen.randint(1, 6)):
            packet[chosen.randrange(len(packet))] = chosen.choice(
                [0, 0x3F, 0x40, 0xC0, 0xFF, chosen.randrange(256)]
            )
        packets.append(bytes(packet[: chosen.randint(12, len(packet))]))
    answers = ask([f"read {packet.hex() or '-'}" for packet in packets])
    assert answers[: len(whole)] == ["refused"] * len(whole)
    assert len(answers) == len(packets)
    assert 1_000 < answers.count("refused") < len(packets)


# --- what is answered


def records_of(packet: bytes) -> dict[tuple[str, int], Any]:
    """Name and type to record, as python-zeroconf reads them."""
    incoming = DNSIncoming(packet)
    assert incoming.valid
    found = {(record.name, record.type): record for record in incoming.answers()}
    assert len(found) == len(incoming.answers())
    return found


def test_answer_to_a_browser_brings_all_that_it_needs() -> None:
    """RFC 6763 section 12.1; lives and cache-flush bits of RFC 6762 sections 10 and 10.2."""
    packet = written(PTR)
    assert struct.unpack("!HHHHHH", packet[:12]) == (0, 0x8400, 0, 1, 0, 3)
    found = records_of(packet)
    pointer, service = found[TYPE, dns._TYPE_PTR], found[INSTANCE, dns._TYPE_SRV]
    text, address = found[INSTANCE, dns._TYPE_TXT], found[HOSTNAME, dns._TYPE_A]
    assert (pointer.alias, pointer.ttl, pointer.unique) == (INSTANCE, 4500, False)
    assert (service.server, service.port, service.priority, service.weight) == (HOSTNAME, 8080, 0, 0)
    assert (service.ttl, service.unique) == (120, True)
    assert (text.text, text.ttl, text.unique) == (TEXT, 4500, True)
    assert (address.address, address.ttl, address.unique) == (bytes([127, 9, 0, 1]), 120, True)


def test_service_brings_the_address() -> None:
    assert list(records_of(written(SRV))) == [(INSTANCE, dns._TYPE_SRV), (HOSTNAME, dns._TYPE_A)]


def test_enumeration_of_services() -> None:
    found = records_of(written(ENUM))
    record = found[ENUMERATION, dns._TYPE_PTR]
    assert (record.alias, record.ttl, record.unique, len(found)) == (TYPE, 4500, False, 1)


def test_nsec_says_which_types_there_are() -> None:
    """Bit maps of RFC 4034 section 4.1.2: for the host A alone, for the instance TXT and SRV."""
    for record, name, types in ((NSEC_HOST, HOSTNAME, [1]), (NSEC_SERVICE, INSTANCE, [16, 33])):
        nsec = records_of(written(record))[name, dns._TYPE_NSEC]
        assert (nsec.next_name, list(nsec.rdtypes), nsec.ttl, nsec.unique) == (name, types, 120, True)


def test_goodbye_takes_back_what_was_announced() -> None:
    """RFC 6762 section 10.1. The enumeration is not taken back: it is true of the other nodes too."""
    found = records_of(written(PTR | SRV | TXT | A, GOODBYE))
    assert {record.ttl for record in found.values()} == {0}
    assert len(found) == 4


def test_legacy_answer_repeats_id_and_question() -> None:
    """RFC 6762 section 6.7: an ordinary resolver gets its own id and question back, short lives, no cache-flush bit."""
    packet = b"\x12\x34" + query((INSTANCE, dns._TYPE_SRV))[2:]
    said = asked(packet)
    assert said is not None
    assert said["id"] == 0x1234
    answer = written(SRV, LEGACY, packet, said["question"])
    assert struct.unpack("!HHHHHH", answer[:12]) == (0x1234, 0x8400, 1, 1, 0, 1)
    assert answer[12 : 12 + said["question"]] == packet[12:]
    assert {(record.ttl, record.unique) for record in records_of(answer).values()} == {(10, False)}


def test_answer_that_does_not_fit_is_not_sent() -> None:
    whole = written(127)
    assert len(whole) < 512
    assert all(written(127, room=room) == b"" for room in range(0, len(whole), 7))
    assert written(127, room=len(whole)) == whole


# --- on the loopback interface


GROUP, PORT = "224.0.0.251", 5353
DEADLINE_S = 10.0


@cache
def _program() -> Path:
    return compile_program(["tests/firmware/announce_program.cpp", f"{HOST}/announce.cpp", *BYTES])


@contextmanager
def listener(address: str, group: bool) -> Iterator[socket.socket]:
    """A socket on port 5353 of one loopback address; with `group`, one that hears the group there."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as made:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        made.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(address))
        made.bind((GROUP if group else address, PORT))
        if group:
            join = socket.inet_aton(GROUP) + socket.inet_aton(address)
            made.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, join)
        yield made


@contextmanager
def node(address: str, name: str, *bench: str) -> Iterator[subprocess.Popen[bytes]]:
    command = [str(_program()), address, "8080", name, "on-trial", *bench]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        try:
            yield process
        finally:
            _, err = process.communicate(timeout=DEADLINE_S)
            assert (process.returncode, err) == (0, b"")


def hear(heard: socket.socket, address: str, needle: bytes = b"") -> tuple[bytes, float]:
    """The next answer from that address that holds the needle, and when it came."""
    end_s = time.monotonic() + DEADLINE_S
    while (left_s := end_s - time.monotonic()) > 0:
        if select.select([heard], [], [], left_s)[0]:
            packet, source = heard.recvfrom(9000)
            if source[0] == address and needle in packet:
                return packet, time.monotonic()
    raise AssertionError(f"nothing from {address}")


@pytest.mark.slow
def test_announces_twice_one_second_apart_and_says_goodbye() -> None:
    """RFC 6762 section 8.3; the change of TXT is announced likewise (section 8.4)."""
    address = "127.53.7.1"
    with listener("127.53.7.250", group=True) as heard, node(address, "watch-one") as process:
        first, first_s = hear(heard, address)
        second, second_s = hear(heard, address)
        assert first == second
        assert 0.9 <= second_s - first_s < 2
        found = records_of(first)
        assert found["watch-one.local.", dns._TYPE_A].address == socket.inet_aton(address)
        assert process.stdin is not None
        process.stdin.write(b"kept\n")
        process.stdin.flush()
        third, third_s = hear(heard, address)
        fourth, fourth_s = hear(heard, address)
        assert b"phase=kept" in third
        assert third == fourth
        assert 0.9 <= fourth_s - third_s < 2
        process.stdin.write(b"kept\n")  # the same again, as when the network came back
        process.stdin.flush()
        assert hear(heard, address)[0] == third
        process.stdin.close()
        process.stdin = None
        goodbye, _ = hear(heard, address)
        assert {record.ttl for record in records_of(goodbye).values()} == {0}


@pytest.mark.slow
def test_answers_by_unicast_by_multicast_and_to_ordinary_resolvers() -> None:
    address, asker = "127.53.8.1", "127.53.8.250"
    name = "watch-two"
    with listener(asker, group=True) as group, listener(asker, group=False) as own, node(address, name):
        for _ in range(2):
            hear(group, address)
        for target in (GROUP, address):  # asked of all, and of this node alone
            own.sendto(query((TYPE, dns._TYPE_PTR), unicast=True), (target, PORT))
            packet, _ = hear(own, address)
            assert records_of(packet)[f"{name}.{TYPE}", dns._TYPE_SRV].port == 8080
        asked_s = time.monotonic()
        own.sendto(query((TYPE, dns._TYPE_PTR)), (GROUP, PORT))
        packet, heard_s = hear(group, address)
        assert records_of(packet)[TYPE, dns._TYPE_PTR].ttl == 4500
        assert heard_s - asked_s >= 0.02  # section 6: a shared record, 20 to 120 ms
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as resolver:
            resolver.bind((asker, 0))
            resolver.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(asker))
            resolver.sendto(b"\x77\x77" + query((f"{name}.local.", dns._TYPE_A))[2:], (GROUP, PORT))
            packet, _ = hear(resolver, address)
            assert packet[:2] == b"\x77\x77"
            assert records_of(packet)[f"{name}.local.", dns._TYPE_A].ttl == 10


@pytest.mark.slow
def test_same_record_is_multicast_once_a_second_at_most() -> None:
    """RFC 6762 section 6."""
    address, asker = "127.53.9.1", "127.53.9.250"
    with (
        listener(asker, group=True) as group,
        listener(asker, group=False) as own,
        node(address, "watch-three"),
    ):
        for _ in range(2):
            hear(group, address)
        times_s = []
        for _ in range(3):
            own.sendto(query(("watch-three.local.", dns._TYPE_A)), (GROUP, PORT))
            times_s.append(hear(group, address)[1])
        assert all(later_s - sooner_s >= 0.95 for sooner_s, later_s in itertools.pairwise(times_s))


def test_a_node_of_a_bench_says_so_in_names_and_txt() -> None:
    """docs/node-interface.md 1. Two benches with a node of one name: no record of one is a record of the other, so
    neither takes the other's away (RFC 6762 section 10.2), and there is no conflict (section 9)."""
    found = []
    with ExitStack() as stack:
        heard = stack.enter_context(listener("127.53.11.250", group=True))
        for address, bench in (("127.53.11.1", "0a1b2c3d"), ("127.53.11.2", "4e5f6a7b")):
            stack.enter_context(node(address, "watch-four", bench))
            found.append(records_of(hear(heard, address)[0]))
            label = f"watch-four-bench-{bench}"
            text = found[-1][f"{label}.{TYPE}", dns._TYPE_TXT].text
            assert text.startswith(b"\x0d" + b"id=watch-four")
            assert text.endswith(b"\x0e" + f"bench={bench}".encode())
            assert found[-1][f"{label}.{TYPE}", dns._TYPE_SRV].server == f"{label}.local."
            assert found[-1][f"{label}.local.", dns._TYPE_A].address == socket.inet_aton(address)
    shared = found[0].keys() & found[1].keys()
    assert shared == {(TYPE, dns._TYPE_PTR)}


@pytest.mark.parametrize("address", ["192.0.2.1", "10.0.0.1", "0.0.0.0", "224.0.0.251", "127.1", "nonsense"])
def test_announces_on_loopback_addresses_alone(address: str) -> None:
    command = [str(_program()), address, "8080", "stray", "kept"]
    done = subprocess.run(
        command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=DEADLINE_S, check=False
    )
    assert done.returncode == 1
    assert "Cannot assign requested address" in done.stderr
