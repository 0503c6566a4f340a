"""One node's complete PlatformIO project, as paths and bytes: the same input gives the same bytes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from jinja2 import DictLoader, Environment, StrictUndefined, TemplateError

from fleet.errors import RenderError
from fleet.limits import MARKS_PER_TANK, TANKS_PER_NODE
from fleet.render.block_of import block_of, release_text
from fleet.render.codes import BAD_TEMPLATE, NO_PORT
from fleet.render.escape import cpp_bytes, cpp_string, only_escaped, plain
from fleet.render.firmware_class import BLOCK_SECTIONS, DEFECTS, SHARED, SIZES, class_of, port_name

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fleet.boards.board import Board
    from fleet.keys.trust import Trust
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node
    from fleet.render.firmware_class import Target

BLOCK_SOURCE: Final = "src/node_block.cpp"
PARTITION_TABLE: Final = "partitions.csv"
"""Of boards of the ESP32 family alone."""
BOOT_SOURCE: Final = "boot_main.cpp"
MAIN_SOURCE: Final = "main.cpp"
_CORE = "firmware/core/"


def render_node(
    inventory: Inventory,
    node: Node,
    board: Board,
    trust: Trust,
    target: Target,
    release: str,
    *,
    templates: Mapping[str, bytes],
    defect: str = "",
) -> dict[str, bytes]:
    """Path in the project to bytes. `templates` as of `fleet.resources.load_templates`; `defect` for the host
    alone.

    RenderError if there is no port for the chip, a pin is missing, a value does not fit, or a template is
    wrong.
    """
    block = block_of(inventory, node, board, trust, target, release_text(release, defect))
    facts = {
        "block": block,
        "board": board,
        "class_name": class_of(board, target).name,
        "host": target == "host",
        "defect_number": DEFECTS[defect] if defect else 0,
        "marks_per_tank": MARKS_PER_TANK,
        "tanks_per_node": TANKS_PER_NODE,
        "partitions": board.partitions,
        "block_section": BLOCK_SECTIONS[port_name(board, target)],
        "sizes": SIZES.get(port_name(board, target), ()),
    }
    environment = _environment(templates)
    whom = f"board {board.id} has the chip {board.chip}"
    project = _sources(templates, port_name(board, target), whom, leave_out=BOOT_SOURCE)
    project[BLOCK_SOURCE] = _filled(environment, "node_block.cpp.j2", facts)
    project["README.md"] = _filled(environment, "README.md.j2", facts)
    project["platformio.ini"] = _filled(environment, f"{target}.ini.j2", facts)
    if target == "host":
        project.update(_host_platform(templates))
    elif board.payload_format == "esp32-bin":
        project[PARTITION_TABLE] = _filled(environment, "partitions.csv.j2", facts)
    return dict(sorted(project.items()))


def render_board_settings(board: Board, *, templates: Mapping[str, bytes]) -> bytes:
    """The `platformio.ini` of every project for that board: it alone says what PlatformIO has to fetch.

    RenderError if the template is wrong.
    """
    facts = {"board": board, "sizes": SIZES.get(port_name(board, "board"), ())}
    return _filled(_environment(templates), "board.ini.j2", facts)


def render_boot_loader(*, templates: Mapping[str, bytes]) -> dict[str, bytes]:
    """The project of the host's boot loader, which serves every class."""
    project = _sources(templates, "host", "the host", leave_out=MAIN_SOURCE)
    facts = {"defect_number": 0}
    project["platformio.ini"] = _filled(_environment(templates), "host.ini.j2", facts)
    project.update(_host_platform(templates))
    return dict(sorted(project.items()))


def _sources(templates: Mapping[str, bytes], port: str, whom: str, *, leave_out: str) -> dict[str, bytes]:
    """Sources of the core, of the port and of what it shares, in the same folders as under `templates/firmware`."""
    own = f"firmware/ports/{port}/"
    shared = tuple(f"firmware/ports/{name}/" for name in SHARED.get(port, ()))
    if not any(path.startswith(own) for path in templates):
        raise RenderError(NO_PORT, f"{whom}: there is no port {port} in this version")
    return {
        f"src/{path.removeprefix('firmware/')}": data
        for path, data in templates.items()
        if path.startswith((_CORE, own, *shared)) and path != f"{own}{leave_out}"
    }


def _host_platform(templates: Mapping[str, bytes]) -> dict[str, bytes]:
    start = "platforms/host/"
    return {
        f"platforms/tankhost/{path.removeprefix(start)}": data
        for path, data in templates.items()
        if path.startswith(start)
    }


def _environment(templates: Mapping[str, bytes]) -> Environment:
    texts = {
        path.removeprefix("node/"): data.decode()
        for path, data in templates.items()
        if path.startswith("node/")
    }
    environment = Environment(  # noqa: S701  C++ and INI, not HTML: `finalize` refuses what no escaper has passed
        loader=DictLoader(texts),
        undefined=StrictUndefined,
        finalize=only_escaped,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters.update(cpp_string=cpp_string, cpp_bytes=cpp_bytes, plain=plain)
    return environment


def _filled(environment: Environment, name: str, facts: Mapping[str, Any]) -> bytes:
    try:
        return environment.get_template(name).render(facts).encode()
    except TemplateError as error:
        where = f"templates/node/{getattr(error, 'name', None) or name}"
        line = getattr(error, "lineno", None)
        raise RenderError(BAD_TEMPLATE, f"{where}{f':{line}' if line else ''}: {error}") from error
