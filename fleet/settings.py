"""Settings: flag > environment > project file > user file > default, each with where it came from."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.codes import Code
from fleet.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

BAD_SETTING = Code(
    "CLI106",
    "a setting has an invalid value",
    "Settings come from options, the environment, the project file and the user file, in that order.",
    "Run `tankfleet settings` to see each value and where it is set.",
)
PROJECT_FILE = "tankfleet.toml"
USER_FILE = "settings.toml"


@dataclass(frozen=True, slots=True)
class Setting:
    """A setting that exists: its default and what it is for."""

    name: str
    default: str
    what: str

    @property
    def variable(self) -> str:
        """Its environment variable."""
        return f"TANKFLEET_{self.name.upper()}"


@dataclass(frozen=True, slots=True)
class Origin:
    """A value, and where it came from."""

    value: str
    origin: str


SETTINGS = (
    Setting("inventory", "inventory", "folder of the inventory, from the project folder"),
    Setting("keys", "", "key folder; empty: keys/ID beside the user's settings file, ID from tankfleet.id"),
    Setting("state", ".tankfleet", "folder of shelf, journal and builds, on a disk of this machine"),
    Setting(
        "compilers",
        "",
        "folder for what boards are compiled with, one for all projects; empty: tankfleet/compilers in the user's "
        "data folder",
    ),
    Setting("target", "board", "what images are built for: board, or host for the bench"),
    Setting(
        "find_on", "auto", "address to find nodes on, all, or auto: loopback while the bench is up, else all"
    ),
    Setting("color", "auto", "auto, always or never"),
    Setting("jobs", "0", "compilers at the same time; 0: one per core"),
)
TARGETS = ("board", "host")
COLORS = ("auto", "always", "never")
_CHOICES = {"target": TARGETS, "color": COLORS}


def resolve(
    flags: Mapping[str, str | None], environment: Mapping[str, str], project_dir: Path, user_dir: Path
) -> dict[str, Origin]:
    """Each setting's value with its origin. UsageError for unknown keys and values that cannot be."""
    sources = [
        ("flag", {k: v for k, v in flags.items() if v is not None}),
        ("environment", {s.name: environment[s.variable] for s in SETTINGS if s.variable in environment}),
        (f"project file {PROJECT_FILE}", _file(project_dir / PROJECT_FILE)),
        (f"user file {USER_FILE}", _file(user_dir / USER_FILE)),
    ]
    resolved = {}
    for setting in SETTINGS:
        found = [Origin(values[setting.name], origin) for origin, values in sources if setting.name in values]
        resolved[setting.name] = found[0] if found else Origin(setting.default, "default")
        _check(setting.name, resolved[setting.name])
    return resolved


def _file(path: Path) -> dict[str, str]:
    if not path.is_file():
        return {}
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        raise UsageError(BAD_SETTING, f"{path}: {error}") from error
    known = {s.name for s in SETTINGS}
    for key in values:
        if key not in known:
            raise UsageError(
                BAD_SETTING, f"{path}: no setting is called {key!r}; there are {', '.join(sorted(known))}"
            )
    return {key: str(value) for key, value in values.items()}


def _check(name: str, value: Origin) -> None:
    choices = _CHOICES.get(name)
    if choices and value.value not in choices:
        raise UsageError(
            BAD_SETTING, f"{name} is {value.value!r} ({value.origin}); it must be one of {', '.join(choices)}"
        )
    if name == "jobs" and not (value.value.isdigit() and int(value.value) <= 256):
        raise UsageError(
            BAD_SETTING, f"jobs is {value.value!r} ({value.origin}); it must be a number from 0 to 256"
        )
