"""Compiles firmware sources with the sanitizers on and runs them; objects and programs are cached by content."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FIRMWARE = ROOT / "templates" / "firmware"
CACHE = ROOT / ".pytest_cache" / "d" / "firmware"
WARNINGS = ("-Wall", "-Wextra", "-Wconversion", "-Werror")
FLAGS = (
    "-std=c++17", "-g", "-O1", "-fno-exceptions", "-fno-rtti",
    "-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-fno-omit-frame-pointer",
)  # fmt: skip
INCLUDES = (f"-I{FIRMWARE}", f"-I{ROOT / 'tests' / 'firmware'}")
CORE = "templates/firmware/core"
CRYPTO = "templates/firmware/ports/host/crypto_bearssl.cpp"
LIBRARIES = {"crypto_bearssl": "bearssl", "crypto_chip": "bearssl", "crypto_mbedtls": "mbedcrypto"}
"""By source: what a program that it is part of is linked with."""
COMPILE_TIMEOUT_S = 240
RUN_TIMEOUT_S = 240


def core_sources(*names: str) -> list[str]:
    """Paths, from the project's root, of these sources of the core; of all when none is named."""
    return [
        f"{CORE}/{name}.cpp" for name in names or sorted(path.stem for path in (ROOT / CORE).glob("*.cpp"))
    ]


SLOTS = core_sources(
    "slots", "slots_area", "slots_arrive", "slots_in_place", "slots_record", "two_sectors", "otadata", "crc32"
)
"""The slot machine."""


@cache
def compiler() -> tuple[str, str]:
    """Path and version line of the C++ compiler; part of every cache key."""
    path = shutil.which(os.environ.get("CXX", "g++"))
    assert path is not None, "no C++ compiler: install g++"
    version = subprocess.run([path, "--version"], capture_output=True, text=True, check=True)
    return path, version.stdout.splitlines()[0]


def _key(*parts: str | bytes) -> str:
    digest = hashlib.sha256()
    for part in parts:
        data = part.encode() if isinstance(part, str) else part
        digest.update(len(data).to_bytes(8, "little"))
        digest.update(data)
    return digest.hexdigest()[:32]


def _make(target: Path, command: Sequence[str]) -> Path:
    """Runs `command` + `-o temporary`, then renames, so that an interrupted run leaves no half-made file."""
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=target.parent, prefix="new-")
    os.close(handle)
    done = subprocess.run([*command, "-o", name], capture_output=True, text=True, timeout=COMPILE_TIMEOUT_S)
    if done.returncode != 0:
        Path(name).unlink(missing_ok=True)
        raise AssertionError(f"{' '.join(command)}\n{done.stderr}")
    Path(name).chmod(0o755)
    Path(name).replace(target)
    return target


def compile_object(source: Path, defines: Sequence[str] = (), flags: Sequence[str] = FLAGS) -> Path:
    """Object file of one source, keyed by its preprocessed text, the flags and the compiler."""
    path, version = compiler()
    options = [*flags, *WARNINGS, *INCLUDES, *(f"-D{define}" for define in defines)]
    text = subprocess.run([path, *options, "-E", str(source)], capture_output=True, timeout=COMPILE_TIMEOUT_S)
    if text.returncode != 0:
        raise AssertionError(text.stderr.decode())
    # The defines are in the preprocessed text; they alone do not make another object.
    target = CACHE / f"{source.stem}-{_key(version, ' '.join([*flags, *WARNINGS]), text.stdout)}.o"
    return target if target.exists() else _make(target, [path, *options, "-c", str(source)])


def compile_program(
    sources: Sequence[str | Path],
    defines: Sequence[str] = (),
    flags: Sequence[str] = FLAGS,
) -> Path:
    """Program made of `sources` (paths from the project's root), linked with what LIBRARIES says of them."""
    objects = [compile_object(ROOT / source, defines, flags) for source in sources]
    libs = sorted({LIBRARIES[stem] for source in sources if (stem := Path(source).stem) in LIBRARIES})
    path, version = compiler()
    name = _key(version, " ".join([*flags, *libs]), *(item.name for item in objects))
    target = CACHE / f"program-{name}"
    if target.exists():
        return target
    return _make(target, [path, *flags, *map(str, objects), *(f"-l{lib}" for lib in libs)])


def run_program(
    program: Path,
    arguments: Sequence[str] = (),
    stdin: bytes = b"",
    environment: Mapping[str, str] | None = None,
) -> str:
    """Standard output of a program that must exit 0; any sanitizer report fails it."""
    done = subprocess.run(
        [str(program), *arguments],
        input=stdin,
        capture_output=True,
        timeout=RUN_TIMEOUT_S,
        env={**os.environ, "ASAN_OPTIONS": "detect_leaks=1", **(environment or {})},
    )
    out, err = done.stdout.decode(errors="replace"), done.stderr.decode(errors="replace")
    assert done.returncode == 0, f"exit {done.returncode}\n{out[-4000:]}\n{err[-4000:]}"
    return out


def run_checks(program: Path, arguments: Sequence[str] = ()) -> str:
    """Output of a program of tests/firmware/check.h, whose checks must all pass."""
    output = run_program(program, arguments)
    assert output.endswith(", 0 failed\n"), output
    return output


def compile_and_check(
    sources: Sequence[str | Path],
    arguments: Sequence[str] = (),
    *,
    defines: Sequence[str] = (),
    flags: Sequence[str] = FLAGS,
) -> str:
    """The same of a program that is made of `sources` first, as by `compile_program`."""
    return run_checks(compile_program(sources, defines, flags), arguments)


def broken(mutant: tuple[str, str, str], folder: Path) -> Path:
    """A file of the core, broken (name, what it says, what the broken one says), among the headers that it includes."""
    name, good, bad = mutant
    core = folder / "core"
    shutil.copytree(FIRMWARE / "core", core)
    text = (core / name).read_text(encoding="utf-8")
    assert text.count(good) == 1, f"{name} has changed: adapt this mutant"
    (core / name).write_text(text.replace(good, bad), encoding="utf-8")
    return core / name


def with_instead(instead: Path | None, sources: Sequence[str]) -> list[str | Path]:
    """These sources, with that file instead of the one of its name."""
    return [instead if instead and Path(source).name == instead.name else source for source in sources]


def notices(program: Path, arguments: Sequence[str] = ()) -> None:
    """The program says that a check failed."""
    done = subprocess.run([program, *arguments], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 1, done.stdout[-2000:] + done.stderr
    assert "FAILED" in done.stdout
