"""BearSSL's C sources for the emulated chips, from Debian's source package: Debian builds it for this machine alone.

The source package comes from the archives that this system's apt already uses and trusts, with `deb-src` asked for
beside `deb` in lists of our own; nothing of the system's configuration is changed and no root is needed. Fetched
once, then kept.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.firmware.firmware_build import CACHE

PACKAGE, BINARY = "bearssl", "libbearssl-dev"
FETCH_TIMEOUT_S = 180


def bearssl_sources() -> Path:
    """Folder with `src/`, `inc/` and `LICENSE.txt`; AssertionError with apt's own words when they cannot be had."""
    ready = CACHE / "bearssl"
    if ready.is_dir():
        return ready
    CACHE.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=CACHE, prefix="bearssl-") as name:
        work = Path(name)
        _unpack(_download(work), work / "ready")
        try:
            (work / "ready").rename(ready)
        except OSError:
            assert ready.is_dir()  # another run was quicker
    return ready


def _download(work: Path) -> Path:
    """The upstream archive of the source package, checked by apt against the signed index."""
    for folder in ("lists/partial", "cache/archives/partial", "sources", "got"):
        (work / folder).mkdir(parents=True)
    for name, text in _sources():
        (work / "sources" / name).write_text(text, encoding="utf-8")
    options = {
        "Dir::Etc::SourceList": "/dev/null",
        "Dir::Etc::SourceParts": str(work / "sources"),
        "Dir::State::Lists": str(work / "lists"),
        "Dir::Cache": str(work / "cache"),
    }
    if os.geteuid() == 0:
        options["APT::Sandbox::User"] = "root"  # else apt warns that its own user cannot write here
    words = ["apt-get", "-q", *(f"-o{key}={value}" for key, value in options.items())]
    said = ""
    for command in (["update"], ["source", "--download-only", PACKAGE]):
        done = subprocess.run(
            [*words, *command], cwd=work / "got", capture_output=True, text=True, timeout=FETCH_TIMEOUT_S
        )
        said += done.stdout + done.stderr
    found = sorted((work / "got").glob(f"{PACKAGE}_*.orig.tar.*"))
    assert found, f"no source package {PACKAGE} from the archives of this system's apt:\n{said}"
    return found[0]


def _sources() -> Iterator[tuple[str, str]]:
    """(file name, text) of the system's own entries for the archives that Debian's BearSSL comes from, as `deb-src`."""
    known = re.findall(
        r"^ +\d+ (https?://\S+) \S+/\S+ \S+ Packages$", _said("apt-cache", "policy", BINARY), re.M
    )
    etc = Path(
        _said("apt-config", "shell", "etc", "Dir::Etc/d").partition("'")[2].rstrip("'\n") or "/etc/apt"
    )
    for path in [etc / "sources.list", *sorted((etc / "sources.list.d").glob("*"))]:
        if path.suffix not in (".list", ".sources") or not path.is_file():
            continue
        text = path.read_text(encoding="utf-8")
        entries = re.split(r"\n\s*\n", text) if path.suffix == ".sources" else text.splitlines()
        ours = [
            re.sub(r"^(Types:\s*|)deb\b(?!-src)(?=[ \t\n])", r"\1deb-src", entry, flags=re.M)
            for entry in entries
            if not known or any(archive in entry for archive in known)
        ]
        yield f"ours-{path.stem}{path.suffix}", "\n\n".join(ours) + "\n"


def _said(*words: str) -> str:
    return subprocess.run(words, capture_output=True, text=True, check=True, timeout=FETCH_TIMEOUT_S).stdout


def _unpack(archive: Path, to: Path) -> None:
    """Sources, headers and licence, and nothing else."""
    with tarfile.open(archive) as tar:
        for member in tar:
            inside = Path(*Path(member.name).parts[1:])
            wanted = inside.parts[:1] in (("src",), ("inc",)) and inside.suffix in (".c", ".h")
            if not member.isfile() or ".." in inside.parts or not (wanted or inside == Path("LICENSE.txt")):
                continue
            content = tar.extractfile(member)
            assert content is not None
            (to / inside).parent.mkdir(parents=True, exist_ok=True)
            with (to / inside).open("wb") as file:
                shutil.copyfileobj(content, file)
    assert (to / "inc" / "bearssl.h").is_file(), f"{archive.name} is not what was expected"


if __name__ == "__main__":
    try:
        bearssl_sources()
    except AssertionError as error:
        sys.exit(str(error))
