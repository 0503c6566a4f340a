"""The whole build but for the compiler: what is made, what is left alone, what is made again.

The one thing replaced is the start of PlatformIO (tests/fake_platformio.py); test_host_build.py has the real
one.
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cyclonedx.schema
import jsonschema
import pytest
from referencing import Registry, Resource

from fleet.boards.board import load_board
from fleet.build import tools
from fleet.build.builder import BuildContext, build, finished
from fleet.build.classes import BuildRequest
from fleet.build.compile import CompileJob, Compilers, failed
from fleet.build.esp_image import check_image
from fleet.build.events import BuildResult
from fleet.build.lock import locked
from fleet.build.sequence import reissue, way_back
from fleet.build.shelf import Shelf
from fleet.build.stamp import block_in, symbol_place
from fleet.build.ticket import verify
from fleet.errors import BuildError, LockedError, RenderError, ShelfError, UsageError
from fleet.keys.folder import KeyFolder
from fleet.keys.networks import Network
from fleet.render.block_of import block_of
from fleet.render.node_block import unpack
from tests.fake_platformio import board_image, elf_with_block, replace_platformio
from tests.flash.board_images import binary_table
from tests.sample_fleet import sample_inventory, small_templates

NODES = ("hill-1", "yard-1", "yard-2")


@pytest.fixture
def compiled(monkeypatch) -> list[str]:
    """Names what was compiled."""
    return replace_platformio(monkeypatch)


class Clock:
    """Seconds since 1970 that stand still until told."""

    def __init__(self) -> None:
        self.now = 1_790_000_000

    def __call__(self) -> int:
        return self.now


@pytest.fixture
def shop(tmp_path) -> BuildContext:
    keys = KeyFolder.create(tmp_path / "keys")
    shelf = Shelf(tmp_path / "shelf")
    return BuildContext(
        tmp_path / "build", tmp_path / "core", shelf, keys, small_templates(), os.environ, load_board, Clock()
    )


def _request(**changes) -> BuildRequest:
    return replace(BuildRequest(sample_inventory(), "host"), **changes)


def _built(shop: BuildContext, **changes) -> BuildResult:
    return finished(build(_request(**changes), shop))


def _listing(folder: Path) -> dict[str, tuple[int, int]]:
    return {
        str(path): (path.stat().st_mtime_ns, path.stat().st_size)
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_every_node_gets_its_own_image_with_a_good_ticket(shop, compiled) -> None:
    result = _built(shop)
    assert result.made == NODES
    assert [entry.node for entry in result.entries] == list(NODES)
    assert len({entry.image for entry in result.entries}) == 3
    inventory = sample_inventory()
    for entry in result.entries:
        node = inventory.node(entry.node)
        image = shop.shelf.image(entry.image)
        block = block_of(inventory, node, load_board(node.board), shop.keys.trust(), "host", "1.2.0")
        assert unpack(block_in(image)) == block
        assert entry.block_crc == f"{block.crc32:08x}"
        fields = verify(shop.shelf.ticket(entry.ticket), shop.keys.trust())
        assert (fields.node, fields.size_bytes, fields.digest.hex()) == (entry.node, len(image), entry.image)
        assert (fields.class_id, fields.vendor_id) == (block.class_id, block.vendor_id)
        assert (fields.release, fields.sequence) == ("1.2.0", entry.sequence)
        assert entry.built_at == "2026-09-21T14:13:20Z"


def test_class_is_compiled_once_and_the_boot_loader_too(shop, compiled) -> None:
    _built(shop)
    assert compiled == ["d1-mini/base/copy-in-place/host", "boot-loader/host"]
    assert os.access(shop.shelf.host_boot_loader(), os.X_OK)


def test_nothing_changed_starts_no_compiler_and_writes_nothing(shop, compiled) -> None:
    first = _built(shop)
    compiled.clear()
    before = _listing(shop.shelf.path) | _listing(shop.build_dir)
    shop.now_s.now += 3600
    again = _built(shop)
    assert not again.changed
    assert again.entries == first.entries
    assert compiled == []
    assert _listing(shop.shelf.path) | _listing(shop.build_dir) == before


def test_changed_tank_makes_only_its_own_nodes_image_and_no_compiler_runs(shop, compiled) -> None:
    first = _built(shop)
    compiled.clear()
    shop.now_s.now += 60
    result = _built(shop, inventory=sample_inventory(header_pump={"longest_run": "3 h"}))
    assert result.made == ("hill-1",)
    assert compiled == []
    assert result.entries[0].sequence == first.entries[0].sequence + 60
    assert result.entries[1:] == first.entries[1:]


def test_new_release_makes_all_images_without_a_compiler(shop, compiled) -> None:
    _built(shop)
    compiled.clear()
    result = _built(shop, release="1.3.0")
    assert result.made == NODES
    assert compiled == []
    assert {entry.release for entry in result.entries} == {"1.3.0"}


def test_only_the_nodes_asked_for_are_built(shop, compiled) -> None:
    result = _built(shop, nodes=("yard-2",))
    assert result.made == ("yard-2",)
    assert shop.shelf.nodes() == ["yard-2"]
    with pytest.raises(KeyError):
        _built(shop, nodes=("nobody",))


def test_defect_is_another_program_of_the_same_class(shop, compiled) -> None:
    sound = _built(shop)
    compiled.clear()
    broken = _built(shop, defect="leaks-memory")
    assert compiled == ["d1-mini/base/copy-in-place/host+leaks-memory"]
    assert {entry.release for entry in broken.entries} == {"1.2.0+leaks-memory"}
    assert {entry.defect for entry in broken.entries} == {"leaks-memory"}
    for one, other in zip(sound.entries, broken.entries, strict=True):
        assert one.class_id == other.class_id
        assert one.image != other.image
        assert other.sequence > one.sequence


def test_sound_build_after_a_defective_one_is_the_old_image_under_a_new_ticket(shop, compiled) -> None:
    sound = _built(shop)
    _built(shop, defect="leaks-memory")
    compiled.clear()
    again = _built(shop)
    assert compiled == []
    assert again.made == NODES
    for one, other in zip(sound.entries, again.entries, strict=True):
        assert one.image == other.image
        assert other.sequence == one.sequence + 2


@pytest.mark.parametrize("how", ["deleted", "a bit", "cut"])
@pytest.mark.parametrize("what", ["image", "ticket", "record"])
def test_lost_or_damaged_file_is_made_again_under_the_same_ticket(shop, compiled, what, how) -> None:
    first = _built(shop)
    compiled.clear()
    sha = getattr(first.entries[0], what)
    lost = shop.shelf.path / "objects" / sha[:2] / sha
    data = lost.read_bytes()
    if how == "deleted":
        lost.unlink()
    else:
        lost.write_bytes(data[:-1] if how == "cut" else data[:-1] + bytes([data[-1] ^ 1]))
    shop.now_s.now += 99
    again = _built(shop)
    assert again.made == ()
    assert "hill-1" in again.restored
    assert again.entries == first.entries
    assert lost.read_bytes() == data
    assert compiled == []


def test_deleted_program_is_compiled_again_and_gives_the_same_images(shop, compiled) -> None:
    first = _built(shop)
    shutil.rmtree(shop.build_dir)
    shutil.rmtree(shop.shelf.path)
    again = _built(shop)
    assert [entry.image for entry in again.entries] == [entry.image for entry in first.entries]


def test_damaged_program_is_not_used(shop, compiled) -> None:
    _built(shop)
    compiled.clear()
    for path in (shop.build_dir / "programs").glob("*.elf"):
        path.write_bytes(path.read_bytes()[:-1])
    _built(shop, release="1.3.0")
    assert compiled == ["d1-mini/base/copy-in-place/host"]


def test_other_signing_key_makes_all_images_anew(shop, compiled, tmp_path) -> None:
    _built(shop)
    other = replace(shop, keys=KeyFolder.create(tmp_path / "other"))
    result = finished(build(_request(), other))
    assert result.made == NODES
    for entry in result.entries:
        verify(shop.shelf.ticket(entry.ticket), other.keys.trust())


def test_exchanged_compiler_that_makes_the_same_image_makes_no_ticket(shop, compiled, monkeypatch) -> None:
    first = _built(shop)
    real = tools.HostTools.identity
    monkeypatch.setattr(tools.HostTools, "identity", lambda self: real(self) + " newer")
    compiled.clear()
    shop.now_s.now += 60
    again = _built(shop)
    assert compiled
    assert again.made == ()
    assert [entry.ticket for entry in again.entries] == [entry.ticket for entry in first.entries]
    compiled.clear()
    assert not _built(shop).changed
    assert compiled == []


def test_failed_compiler_leaves_the_shelf_as_it_was(shop, compiled) -> None:
    _built(shop)
    before = _listing(shop.shelf.path)
    broken = replace(shop, templates={**shop.templates, "firmware/core/bad.cpp": b"#error here\n"})
    with pytest.raises(BuildError) as caught:
        finished(build(_request(), broken))
    assert caught.value.code.code == "BLD101"
    assert "#error here" in caught.value.tail
    assert Path(caught.value.log_path).is_file()
    assert _listing(shop.shelf.path) == before


def test_two_builds_at_once_are_refused(shop, compiled) -> None:
    shop.build_dir.mkdir(parents=True)
    with locked(shop.build_dir / "lock"), pytest.raises(LockedError) as caught:
        _built(shop)
    assert caught.value.code.code == "BLD105"
    assert _built(shop).made == NODES


@pytest.mark.parametrize(("target", "defect"), [("host", "nonsense"), ("board", "crash-at-boot")])
def test_defect_that_cannot_be_is_refused_before_anything_is_done(shop, compiled, target, defect) -> None:
    with pytest.raises(UsageError, match="crash-at-boot") as caught:
        _built(shop, target=target, defect=defect)
    assert caught.value.code.code == "BLD103"
    assert not shop.build_dir.exists()


def test_board_without_port_says_so(shop, compiled) -> None:
    with pytest.raises(RenderError) as caught:
        _built(shop, target="board")
    assert caught.value.code.code == "RND101"
    assert compiled == []


def test_missing_tools_are_all_named(shop, compiled, monkeypatch) -> None:
    monkeypatch.setattr(tools.shutil, "which", lambda name: None)
    with pytest.raises(BuildError, match=r"g\+\+, strip") as caught:
        _built(shop)
    assert "apt install" in caught.value.fix


def test_reissued_ticket_has_a_new_sequence_for_the_old_image(shop, compiled) -> None:
    old = _built(shop).entries[0]
    _built(shop, release="1.3.0")
    again = reissue(shop.shelf, old, shop.keys.signing_key(), shop.now_s())
    assert (again.image, again.release, again.node) == (old.image, "1.2.0", "hill-1")
    assert again.sequence == old.sequence + 2
    fields = verify(shop.shelf.ticket(again.ticket), shop.keys.trust())
    assert fields.sequence == again.sequence
    assert fields.digest.hex() == old.image
    assert shop.shelf.newest("hill-1") == again


def test_ticket_is_not_reissued_with_a_key_that_the_image_does_not_trust(shop, compiled, tmp_path) -> None:
    entry = _built(shop).entries[0]
    other = KeyFolder.create(tmp_path / "other")
    for again in (reissue, way_back):
        with pytest.raises(ShelfError) as caught:
            again(shop.shelf, entry, other.signing_key(), shop.now_s())
        assert caught.value.code.code == "SHF104"
    assert shop.shelf.newest("hill-1") == entry


def test_a_ticket_for_the_way_back_is_just_above_the_floor_and_on_no_shelf(shop, compiled) -> None:
    old = _built(shop).entries[0]
    new = _built(shop, release="1.3.0").entries[0]
    before = shop.shelf.entries("hill-1")
    image, ticket = way_back(shop.shelf, old, shop.keys.signing_key(), new.sequence)
    fields = verify(ticket, shop.keys.trust())
    assert hashlib.sha256(image).hexdigest() == old.image == fields.digest.hex()
    assert (fields.sequence, fields.node, fields.release) == (new.sequence + 1, "hill-1", "1.2.0")
    assert shop.shelf.entries("hill-1") == before
    assert not shop.shelf.has(hashlib.sha256(ticket).hexdigest())


def test_record_names_inputs_tools_sizes_and_libraries(shop, compiled) -> None:
    entry = _built(shop).entries[0]
    record = shop.shelf.record(entry.record)
    assert record["class"] == entry.class_name
    main = shop.templates["firmware/ports/host/main.cpp"]
    assert record["sources"]["src/ports/host/main.cpp"] == hashlib.sha256(main).hexdigest()
    assert "src/node_block.cpp" not in record["sources"]
    assert set(record["tools"]) >= {"g++", "platformio", "scons", "libbearssl-dev"}
    assert record["sizes"]["data_bytes"] >= 1024
    assert record["sbom"]["bomFormat"] == "CycloneDX"
    assert {component["name"] for component in record["sbom"]["components"]} == {"bearssl", "glibc"}
    assert str(shop.build_dir) not in str(record)


def test_bill_of_materials_follows_the_published_schema(shop, compiled) -> None:
    """The CycloneDX 1.6 JSON schema that comes with the CycloneDX project's own library."""

    folder = Path(cyclonedx.schema.__file__).parent / "_res"
    parts = [
        json.loads(path.read_text().replace(".SNAPSHOT", ""))
        for path in folder.glob("*.SNAPSHOT.schema.json")
    ]
    registry = Registry().with_resources((part["$id"], Resource.from_contents(part)) for part in parts)
    (schema,) = [part for part in parts if part["$id"].endswith("bom-1.6.schema.json")]
    record = shop.shelf.record(_built(shop).entries[0].record)
    jsonschema.Draft7Validator(schema, registry=registry).validate(record["sbom"])


def test_no_secret_is_in_anything_that_was_made(shop, compiled) -> None:
    """Raw, hex and base64 of every secret, looked for in every file outside of the key folder."""
    shop.keys.set_network("hill-wifi", Network("Hill", "correct horse battery"))
    result = _built(shop)
    scalar = shop.keys.signing_key().private_numbers().private_value.to_bytes(32, "big")
    secrets = [
        scalar,
        shop.keys.fleet_key(),
        b"correct horse battery",
        *(shop.keys.node_key(n) for n in NODES),
    ]
    forms = []
    for secret in secrets:
        forms += [
            secret,
            secret.hex().encode(),
            secret.hex().upper().encode(),
            base64.b64encode(secret).rstrip(b"="),
        ]
        forms.append(base64.urlsafe_b64encode(secret).rstrip(b"="))
        forms.append(", ".join(f"0x{byte:02X}" for byte in secret).encode())
    files = [p for folder in (shop.shelf.path, shop.build_dir) for p in folder.rglob("*") if p.is_file()]
    assert len(files) > 20
    for path in files:
        data = path.read_bytes()
        assert not [form for form in forms if form in data], path
    assert not [form for form in forms if form in repr(result).encode()]


def _board_shop(shop: BuildContext) -> BuildContext:
    return replace(shop, templates={**small_templates(), "firmware/ports/esp32/main.cpp": b""})


def test_board_images_are_compiled_once_stamped_and_shelved(shop, compiled) -> None:
    """The image of each node is, byte for byte, the one made of that node's own ELF file."""
    shop = _board_shop(shop)
    result = _built(shop, target="board", nodes=("yard-1", "yard-2"))
    assert compiled == ["esp32-devkit/base/two-slot/board"]
    assert [entry.node for entry in result.entries] == ["yard-1", "yard-2"]
    class_elf = next((shop.build_dir / "programs").glob("*.elf")).read_bytes()
    for entry in result.entries:
        inventory = sample_inventory()
        board = load_board(entry.board)
        block = block_of(
            inventory, inventory.node(entry.node), board, shop.keys.trust(), "board", entry.release
        ).pack()
        place = symbol_place(class_elf)
        own_elf = class_elf[: place.offset] + block + class_elf[place.offset + len(block) :]
        image = shop.shelf.image(entry.image)
        assert image == board_image(own_elf)
        assert entry.payload_format == "esp32-bin"
        assert check_image(image, "esp32", board.slot_bytes).chip_id == 0
    assert _built(shop, target="board", nodes=("yard-1", "yard-2")).changed is False
    assert len(compiled) == 1


def test_board_image_that_cannot_start_is_not_shelved(shop, compiled, monkeypatch) -> None:
    monkeypatch.setattr("tests.fake_platformio.board_image", lambda elf: board_image(elf)[:-1] + b"?")
    with pytest.raises(BuildError) as caught:
        _built(_board_shop(shop), target="board", nodes=("yard-1",))
    assert caught.value.code.code == "BLD108"
    assert shop.shelf.entries() == []


def test_elf_file_without_the_symbol_has_no_place_to_stamp() -> None:
    assert symbol_place(elf_with_block()).address == 0
    for wrong in (b"", b"not an ELF file", elf_with_block().replace(b"tn_node_block", b"tn_bode_block")):
        with pytest.raises(BuildError) as caught:
            symbol_place(wrong)
        assert caught.value.code.code == "BLD104"


@pytest.mark.parametrize(
    ("log", "code"),
    [
        (
            "Platform Manager: Installing espressif8266 @ 4.2.1\nHTTPClientError: \n",
            "BLD110",
        ),
        (
            "Tool Manager: Installing platformio/toolchain-xtensa @ 2\nUnknownPackageError: Could not find\n",
            "BLD107",
        ),
        ("Compiling .pio/build/node/src/main.cpp.o\nmain.cpp:1: error: no\n", "BLD101"),
        ("Compiling a.o\nas: final close failed: No space left on device\n", "BLD112"),
    ],
)
def test_platform_that_cannot_be_fetched_has_a_code_of_its_own(tmp_path, log: str, code: str) -> None:
    """The first text is what PlatformIO 6.2 wrote without a network."""
    job = CompileJob("d1-mini/base/copy-in-place/board", tmp_path, tmp_path / "log")
    job.log_path.write_text(log)
    assert failed(job, "PlatformIO ended with 1").code.code == code


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("toolchain-xtensa-esp32 @ 8.4.0+2021r2-patch5", ""),
        (
            "toolchain-xtensa-esp32 @ 8.4.0+2021r2-patch6",
            r"toolchain-xtensa-esp32 8.4.0\+2021r2-patch6 in place of",
        ),
        (
            "toolchain-xtensa-esp32s2 @ 8.4.0+2021r2-patch5",
            r"toolchain-xtensa-esp32 \(none\) in place of 8.4.0",
        ),
    ],
)
def test_other_packages_than_the_pinned_make_no_image(
    shop, compiled, monkeypatch, line: str, said: str
) -> None:
    """The core's version may end in what it was made of: 3.20017.241212+sha.dcc1105b, as published logs have it."""
    first = (
        "framework-arduinoespressif32 @ 3.20017.241212+sha.dcc1105b",
        "tool-esptoolpy @ 2.41100.0 (4.11.0)",
    )
    log = "HARDWARE: x\nPACKAGES: " + "".join(f"\n - {one} " for one in (*first, line)) + "\nLDF: chain\n"
    monkeypatch.setattr("tests.fake_platformio._log_packages", lambda job: job.log_path.write_text(log))
    if said:
        with pytest.raises(BuildError, match=said) as caught:
            _built(_board_shop(shop), target="board", nodes=("yard-1",))
        assert caught.value.code.code == "BLD114"
        assert shop.shelf.entries() == []
        return
    entry = _built(_board_shop(shop), target="board", nodes=("yard-1",)).entries[0]
    tools = shop.shelf.record(entry.record)["tools"]
    assert set(tools) == {
        "platformio",
        "scons",
        "framework-arduinoespressif32",
        "tool-esptoolpy",
        "toolchain-xtensa-esp32",
    }
    assert tools["framework-arduinoespressif32"] == "3.20017.241212+sha.dcc1105b"
    assert tools["tool-esptoolpy"] == "2.41100.0"


def test_log_without_a_list_of_packages_makes_no_image(shop, compiled, monkeypatch) -> None:
    monkeypatch.setattr(
        "tests.fake_platformio._log_packages", lambda job: job.log_path.write_text("nothing\n")
    )
    with pytest.raises(BuildError) as caught:
        _built(_board_shop(shop), target="board", nodes=("yard-1",))
    assert caught.value.code.code == "BLD114"


def test_what_a_first_load_needs_is_on_the_shelf_beside_a_board_image(shop, compiled) -> None:
    shop = _board_shop(shop)
    entry = _built(shop, target="board", nodes=("yard-1",)).entries[0]
    beside = shop.shelf.record(entry.record)["beside"]
    assert {name: shop.shelf.image(sha) for name, sha in beside.items()} == {
        "boot-loader": board_image(elf_with_block()),
        "partitions": binary_table("esp32-devkit"),
    }
    sha = beside["boot-loader"]
    (shop.shelf.path / "objects" / sha[:2] / sha).unlink()
    again = _built(shop, target="board", nodes=("yard-1",))
    assert again.restored == ("yard-1",)
    assert shop.shelf.image(sha) == board_image(elf_with_block())
    host = _built(shop, nodes=("yard-1",)).entries[0]
    assert shop.shelf.record(host.record)["beside"] == {}


@pytest.mark.parametrize("file", ["bootloader.bin", "partitions.bin"])
def test_a_platform_that_makes_none_of_them_says_so(shop, compiled, monkeypatch, file: str) -> None:
    """At the build, where the log is; not only when a board is on the bench."""
    write = Path.write_bytes
    monkeypatch.setattr(
        Path, "write_bytes", lambda path, data: len(data) if path.name == file else write(path, data)
    )
    with pytest.raises(BuildError, match=file) as caught:
        _built(_board_shop(shop), target="board", nodes=("yard-1",))
    assert caught.value.code.code == "BLD109"
    assert shop.shelf.entries() == []


STRAYS = {
    "src/evil.cpp": "int evil() { return 1; }\n",
    "src/core/zlib.h": "#define EVIL 1\n",
    "lib/evil/evil.cpp": "int evil() { return 1; }\n",
    "include/core/twice.h": "#define EVIL 1\n",
    "platformio.ini": "[env:node]\nplatform = tankhost\nextra_scripts = pre:evil.py\n",
    "evil.py": "print('evil')\n",
    ".pio/libdeps/node/evil/evil.cpp": "int evil() { return 1; }\n",
}


def _put_strays(shop: BuildContext) -> Path:
    folder = shop.build_dir / "classes" / "d1-mini_base_copy-in-place_host"
    for path, text in STRAYS.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text)
    return folder


def test_a_stray_file_in_the_build_folder_is_in_no_image(shop, compiled, tmp_path) -> None:
    clean = replace(shop, build_dir=tmp_path / "clean", shelf=Shelf(tmp_path / "clean-shelf"))
    folder = _put_strays(shop)
    images = [entry.image for entry in _built(shop).entries]
    assert images == [entry.image for entry in _built(clean).entries]
    left = {path for path in STRAYS if (folder / path).is_file()}
    assert left == {"platformio.ini"}
    assert "evil" not in (folder / "platformio.ini").read_text()


def test_a_file_that_comes_while_the_compiler_runs_is_refused(shop, compiled, monkeypatch) -> None:
    """What was compiled is what was rendered, and what the record names."""
    run = Compilers.run

    def disturbed(self: Compilers, jobs: list[CompileJob]) -> Iterator[object]:
        for job in jobs:
            (job.folder / "src" / "evil.cpp").write_text("int evil() { return 1; }\n")
        yield from run(self, jobs)

    monkeypatch.setattr(Compilers, "run", disturbed)
    with pytest.raises(BuildError, match=r"BLD120.*src/evil\.cpp") as caught:
        _built(shop)
    assert caught.value.code.code == "BLD120"
    assert shop.shelf.entries() == []
    monkeypatch.setattr(Compilers, "run", run)
    assert _built(shop).made == NODES, "the next one begins anew"


def test_the_record_names_all_that_was_compiled(shop, compiled) -> None:
    (entry, *_) = _built(shop).entries
    folder = shop.build_dir / "classes" / "d1-mini_base_copy-in-place_host"
    given = {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and ".pio" not in path.parts and not path.name.startswith(".")
    }
    beside = {"src/node_block.cpp", "README.md"}
    assert shop.shelf.record(entry.record)["sources"] == {
        p: sha for p, sha in given.items() if p not in beside
    }
