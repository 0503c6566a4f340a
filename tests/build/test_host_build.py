"""Real builds for the host: PlatformIO and the compiler, with a firmware of a few lines and the real one."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from fleet.boards.board import load_board
from fleet.build.builder import BuildContext, build, finished
from fleet.build.classes import BuildRequest
from fleet.build.compile import CompileJob, Compilers
from fleet.build.core_dir import platformio_environment, prepare_core_dir
from fleet.build.events import Compiling, StillCompiling
from fleet.build.project_dir import write_project
from fleet.build.shelf import Shelf
from fleet.build.stamp import block_in
from fleet.build.tools import host_tools
from fleet.errors import BuildError, LockedError
from fleet.keys.folder import KeyFolder
from fleet.limits import IMAGE_BYTES, PROGRESS_EVERY_S
from fleet.render.node_block import unpack
from fleet.render.project import render_node
from fleet.resources import load_templates
from tests.sample_fleet import sample_inventory, small_templates

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parent.parent.parent
_COUNTS = ", ".join(f"count({n})" for n in range(60))
SLOW_SOURCE = f"""#include <stddef.h>
constexpr size_t count(size_t n) {{ size_t s = n; for (size_t i = 0; i < 200000; ++i) s += i % 7; return s; }}
extern const size_t waited[];
const size_t waited[] = {{{_COUNTS}}};
""".encode()
"""Takes the compiler about ten seconds, all of them in one process."""


@pytest.fixture
def shop(tmp_path) -> BuildContext:
    shelf, keys = Shelf(tmp_path / "shelf"), KeyFolder.create(tmp_path / "keys")
    return BuildContext(
        tmp_path / "build",
        tmp_path / "core",
        shelf,
        keys,
        small_templates(),
        os.environ,
        load_board,
        lambda: 1000,
    )


def _request(**changes) -> BuildRequest:
    return replace(BuildRequest(sample_inventory(), "host", jobs=2), **changes)


def _with(shop: BuildContext, name: str, source: bytes) -> BuildContext:
    """The same shop with one more source in the firmware's core."""
    return replace(shop, templates={**shop.templates, f"firmware/core/{name}": source})


def _project(shop: BuildContext, node: str) -> dict[str, bytes]:
    inventory = sample_inventory()
    this = inventory.node(node)
    trust = shop.keys.trust()
    return render_node(
        inventory, this, load_board(this.board), trust, "host", "1.2.0", templates=shop.templates
    )


def _alone(folder: Path, shop: BuildContext, node: str) -> bytes:
    """The image that PlatformIO makes of the node's own rendered project, in a folder of its own, without the
    objects of other projects."""
    write_project(folder, _project(shop, node))
    tools = host_tools()
    core = prepare_core_dir(folder.parent / "core-of-its-own", tools)
    environment = platformio_environment(os.environ, core, folder.parent / "objects", tools)
    del environment["TANKFLEET_OBJECT_CACHE"]
    job = CompileJob(node, folder, folder.parent / f"{node}.log")
    assert [type(event).__name__ for event in Compilers(environment, 2).run([job])][-1] == "Compiled"
    return (job.output_dir / "image.elf").read_bytes()


def _run(image: bytes, tmp_path: Path) -> str:
    program = tmp_path / "image"
    program.write_bytes(image)
    program.chmod(0o755)
    return subprocess.run([str(program)], capture_output=True, text=True, timeout=10, check=True).stdout


def test_stamped_image_is_what_platformio_makes_of_the_nodes_own_project(shop, tmp_path) -> None:
    """Byte for byte, for each node: the one that was compiled for its class and those that were only
    stamped."""
    for entry in finished(build(_request(), shop)).entries:
        alone = _alone(tmp_path / "elsewhere" / "deep" / entry.node, shop, entry.node)
        assert alone == shop.shelf.image(entry.image), entry.node


def test_images_run_and_differ_as_their_blocks_do(shop, tmp_path) -> None:
    for entry in finished(build(_request(), shop)).entries:
        image = shop.shelf.image(entry.image)
        assert _run(image, tmp_path) == f"{entry.node} 600 0 src/ports/host/main.cpp\n"
        assert str(tmp_path).encode() not in image
    broken = finished(build(_request(defect="no-network"), shop))
    assert _run(shop.shelf.image(broken.entries[0].image), tmp_path).startswith("hill-1 600 4 ")
    assert subprocess.run([str(shop.shelf.host_boot_loader())], check=False).returncode == 7


def test_build_needs_no_network(tmp_path) -> None:
    """In a network namespace with no interface up, and with a home that has no PlatformIO in it."""
    script = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "from fleet.boards.board import load_board\n"
        "from fleet.build.builder import Workshop\n"
        "from fleet.build.shelf import Shelf\n"
        "from fleet.keys.folder import KeyFolder\n"
        "from tests.build.test_host_build import _alone\n"
        "from tests.sample_fleet import small_templates\n"
        "p = Path(sys.argv[1])\n"
        "k = KeyFolder.create(p / 'keys')\n"
        "places = (p / 'b', p / 'core', Shelf(p / 's'))\n"
        "shop = Workshop(*places, k, small_templates(), os.environ, load_board, lambda: 1)\n"
        "print(len(_alone(p / 'project', shop, 'hill-1')))\n"
    )
    cut_off = ["unshare", "--user", "--map-root-user", "--net"]
    if subprocess.run([*cut_off, "true"], capture_output=True, check=False).returncode != 0:
        pytest.skip("this kernel gives no network namespace")
    command = [*cut_off, sys.executable, "-c", script, str(tmp_path / "x")]
    environment = {**os.environ, "HOME": str(tmp_path / "home")}
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, env=environment, check=False)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 100_000
    assert not (tmp_path / "home" / ".platformio").exists()


def test_what_is_compiled_is_what_was_rendered_whatever_the_shell_has_set(shop, tmp_path) -> None:
    """The compiler's own variables (GCC's manual, "Environment Variables Affecting GCC"), those of the dynamic loader,
    of SCons and of PlatformIO, and SCons's own folder in a home: the same image, byte for byte."""
    plain = finished(build(_request(nodes=("hill-1",)), shop)).entries[0].image
    headers, home = tmp_path / "poison", tmp_path / "home"
    scripts = home / ".scons" / "site_scons"
    for folder in (headers, scripts):
        folder.mkdir(parents=True)
    (headers / "stdio.h").write_text("#include_next <stdio.h>\n#define putchar(c) putchar('x')\n")
    (headers / "libbearssl.a").write_text("no archive")
    (headers / "libc.a").write_text("no archive")
    (scripts / "site_init.py").write_text("raise SystemExit('a script of the home was run')\n")
    folders = ("CPATH", "C_INCLUDE_PATH", "CPLUS_INCLUDE_PATH", "LIBRARY_PATH", "COMPILER_PATH")
    flags = ("PLATFORMIO_BUILD_FLAGS", "PLATFORMIO_BUILD_SRC_FLAGS", "CPPFLAGS", "CXXFLAGS")
    poisoned = {
        **os.environ,
        **dict.fromkeys(folders, str(headers)),
        **dict.fromkeys(flags, "-Dputchar=abs"),
        "GCC_EXEC_PREFIX": f"{headers}/",
        "PLATFORMIO_EXTRA_SCRIPTS": str(scripts / "site_init.py"),
        "DEPENDENCIES_OUTPUT": str(tmp_path / "written-by-the-compiler"),
        "SCONSFLAGS": "--dry-run",
        "HOME": str(home),
    }
    places = {"build_dir": tmp_path / "build-2", "core_dir": tmp_path / "core-2"}
    other = replace(shop, environment=poisoned, shelf=Shelf(tmp_path / "shelf-2"), **places)
    assert finished(build(_request(nodes=("hill-1",)), other)).entries[0].image == plain
    assert not (tmp_path / "written-by-the-compiler").exists()


def test_failed_build_shows_its_own_last_lines_and_names_its_log(shop) -> None:
    with pytest.raises(BuildError) as caught:
        finished(build(_request(), _with(shop, "bad.cpp", b"int f() { return nonsense; }\n")))
    assert "nonsense" in caught.value.tail
    assert "was not declared in this scope" in Path(caught.value.log_path).read_text()
    assert shop.shelf.entries() == []


def test_lost_bits_in_a_conversion_fail_the_build(shop) -> None:
    """-Wconversion -Werror: what a chip's narrow integers would lose is an error on the host already."""
    source = b"short narrowed(int n);\nshort narrowed(int n) { return n; }\n"
    with pytest.raises(BuildError) as caught:
        finished(build(_request(), _with(shop, "careless.cpp", source)))
    assert "-Werror=conversion" in Path(caught.value.log_path).read_text()


def test_progress_is_told_while_a_compiler_works_and_none_is_left_behind(shop) -> None:
    events = build(_request(), _with(shop, "slow.cpp", SLOW_SOURCE))
    last_s = time.monotonic()
    seen = []
    for event in events:
        now_s = time.monotonic()
        assert now_s - last_s < 2 * PROGRESS_EVERY_S, "silent for too long"
        last_s = now_s
        seen.append(type(event))
        if StillCompiling in seen:
            break
    assert seen[0] is Compiling
    assert seen[-1] is StillCompiling
    assert _processes_in(shop.build_dir)
    events.close()
    assert not _processes_in(shop.build_dir)


def test_compiler_that_outlives_a_killed_tool_keeps_the_next_build_out(shop) -> None:
    """As after kill -9: the lock's descriptor is gone from here, the compiler still has it."""
    events = build(_request(), _with(shop, "slow.cpp", SLOW_SOURCE))
    for event in events:
        if isinstance(event, StillCompiling):
            break
    lock = (shop.build_dir / "lock").stat()
    (ours,) = [int(path.name) for path in Path("/proc/self/fd").iterdir() if _is(int(path.name), lock)]
    spare = os.open("/dev/null", os.O_RDONLY)
    os.dup2(spare, ours)
    with pytest.raises(LockedError):
        finished(build(_request(), shop))
    events.close()
    os.close(spare)
    assert finished(build(_request(), shop)).made


def _is(fd: int, status: os.stat_result) -> bool:
    try:
        return os.path.samestat(os.fstat(fd), status)
    except OSError:
        return False


def test_lock_that_a_killed_compiler_left_in_the_object_cache_stops_no_build(shop) -> None:
    """SCons 4.11, CacheDir.py: each start holds `config.lock` for a moment, as a file; after kill -9 it stays."""
    request = _request(nodes=("hill-1",), jobs=1)
    finished(build(request, shop))
    left = shop.build_dir / "objects" / "config.lock"
    assert (shop.build_dir / "objects" / "config").is_file()
    left.touch()
    result = finished(build(request, _with(shop, "added.cpp", b"int added_for_a_second_build;\n")))
    assert result.compiled
    assert not left.exists()


@pytest.mark.parametrize("name", ["with a space", "größe ' & (x)"])
def test_project_builds_wherever_it_lies(shop, tmp_path, name) -> None:
    """The folder's name reaches the compiler only to be kept out of the result."""
    plain = _alone(tmp_path / "plain" / "p", shop, "hill-1")
    assert _alone(tmp_path / name / "p", shop, "hill-1") == plain


def _folders(core: Path) -> set[Path]:
    return {path for path in core.rglob("*") if path.is_dir()}


def test_logs_of_parallel_jobs_do_not_mix(shop, tmp_path) -> None:
    """Two projects at the same time, each with messages of its own: each log has its own alone. PlatformIO finds all
    folders of its core there: where it has to make one, two processes at the same time get into each other's way."""
    tools = host_tools()
    core = prepare_core_dir(tmp_path / "core", tools)
    folders = _folders(core)
    environment = platformio_environment(os.environ, core, tmp_path / "objects", tools)
    jobs = []
    for name in ("yard-1", "yard-2"):
        project = _project(shop, name)
        mark = name.replace("-", "_")
        for number in range(12):
            text = f'#pragma message "only {mark}"\nint {mark}{number};\n'
            project[f"src/core/{mark}_{number}.cpp"] = text.encode()
        write_project(tmp_path / name, project)
        jobs.append(CompileJob(name, tmp_path / name, tmp_path / f"{name}.log"))
    kinds = [type(event) for event in Compilers(environment, 2).run(jobs)]
    assert kinds[:2] == [Compiling, Compiling], "both run at the same time"
    one, other = (job.log_path.read_text() for job in jobs)
    assert one.count("only yard_1") >= 12
    assert "yard_2" not in one
    assert other.count("only yard_2") >= 12
    assert "yard_1" not in other
    assert _folders(core) == folders


def test_real_firmware_builds_into_images_of_its_nodes(shop) -> None:
    real = replace(shop, templates=load_templates())
    for entry in finished(build(_request(), real)).entries:
        image = shop.shelf.image(entry.image)
        assert unpack(block_in(image)).node == entry.node
        assert len(image) < IMAGE_BYTES
        assert str(shop.build_dir.parent).encode() not in image
    assert shop.shelf.host_boot_loader().stat().st_size > 10_000
    assert not finished(build(_request(), real)).changed


def test_real_firmware_stamped_equals_its_own_project(shop, tmp_path) -> None:
    real = replace(shop, templates=load_templates())
    result = finished(build(_request(nodes=("yard-1", "yard-2")), real))
    alone = _alone(tmp_path / "own" / "yard-2", real, "yard-2")
    assert alone == shop.shelf.image(result.entries[1].image)


def _processes_in(folder: Path) -> list[str]:
    """Command lines of running processes that name the folder."""
    found = []
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words = path.read_bytes().replace(b"\0", b" ").decode(errors="replace")
            state = (path.parent / "stat").read_text().rpartition(")")[2].split()[0]
        except OSError:
            continue
        if str(folder) in words and state != "Z":
            found.append(words)
    return found


def test_stray_files_are_not_compiled(shop, tmp_path) -> None:
    """A source, headers that shadow ours and the system's, libraries of the project and of PlatformIO's own folder, and
    a script of a leftover platformio.ini: the images are those of a folder without them."""
    evil = "#error evil\n"
    strays = {
        "src/evil.cpp": evil,
        "src/core/stdio.h": evil,
        "src/stdio.h": evil,
        "include/core/twice.h": evil,
        "lib/stdio/stdio.h": evil,
        "lib/stdio/evil.cpp": evil,
        ".pio/libdeps/node/stdio/stdio.h": evil,
        "platformio.ini": "[env:node]\nplatform = tankhost\nextra_scripts = pre:evil.py\n",
        "evil.py": f"open({str(tmp_path / 'ran')!r}, 'w')\n",
    }
    folder = shop.build_dir / "classes" / "d1-mini_base_copy-in-place_host"
    library = shop.build_dir / "core" / "lib" / "stdio"
    for path, text in {
        **{folder / path: text for path, text in strays.items()},
        library / "stdio.h": evil,
    }.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    (entry, *_) = finished(build(_request(), shop)).entries
    assert _alone(tmp_path / "elsewhere" / entry.node, shop, entry.node) == shop.shelf.image(entry.image)
    assert not (tmp_path / "ran").exists()
