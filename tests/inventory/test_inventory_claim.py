"""Claiming a MAC: one line more, every other byte kept; and a refusal wherever that cannot be made sure of."""

from __future__ import annotations

import difflib
import random
import shutil
from pathlib import Path

import pytest
import yaml

from fleet.check.load import load_inventory, read_texts
from fleet.errors import UsageError
from fleet.inventory.claim import claim

DEMO = Path(__file__).resolve().parent.parent.parent / "inventory"
MAC = "00:00:5e:00:53:fe"
"""Of the block that RFC 7042 2.1.2 sets aside for documentation."""
HEAD = """# The farm, \u00e0 la carte.
fleet: {name: farm, domain: farm.example}
sites:
- {name: s, time_zone: Europe/Lisbon, network: n}
tanks:
- name: t
  site: s
  duty: irrigation
  shape: {kind: box, length: 2 m, width: 1 m, height: 1 m}
  marks: [{name: low, height: 200 mm}, {name: full, height: 800 mm}]
"""
SERVES = "serves: [{tank: t, probes: {low: IO32, full: IO33}}]"
STYLES = {
    "block": f"nodes:\n- name: a\n  board: esp32-devkit\n  {SERVES}\n",
    "block, deep, quoted, noted": (
        f"nodes:   # mine\n\n    -   'name': \"a\"   # first\n        board:   'esp32-devkit'   # in the shed\n"
        f"        # below the board\n        {SERVES}\n"
    ),
    "board first": f"nodes:\n- board: esp32-devkit\n  name: a\n  {SERVES}\n",
    "board last, no end of line": f"nodes:\n- name: a\n  {SERVES}\n  board: esp32-devkit",
    "flow": f"nodes:\n- {{name: a, board: esp32-devkit, {SERVES}}}\n",
    "flow over lines": f"nodes: [{{board: esp32-devkit ,\n   {SERVES},\n  name: a}}]\n",
}


def lay(folder: Path, text: str | bytes) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "all.yaml").write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder


def added(before: bytes, after: bytes) -> list[str]:
    """What a comparison by characters says was added; fails if anything was taken away."""
    matcher = difflib.SequenceMatcher(None, before.decode(), after.decode(), autojunk=False)
    parts = [op for op in matcher.get_opcodes() if op[0] != "equal"]
    assert all(op[0] == "insert" for op in parts), parts
    return [after.decode()[j1:j2] for _, _, _, j1, j2 in parts]


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("bom", [b"", b"\xef\xbb\xbf"])
def test_one_insertion_and_nothing_else(tmp_path, style, ending, bom) -> None:
    data = bom + (HEAD + STYLES[style]).replace("\n", ending).encode()
    folder = lay(tmp_path / "inventory", data)
    made = claim(folder, "a", MAC, read_texts)
    assert (made.path, made.before) == ((folder / "all.yaml").resolve(), data)
    assert (folder / "all.yaml").read_bytes() == data, "writing is the caller's"
    (one,) = added(data, made.after)
    assert MAC in one
    assert len(one) <= len(MAC) + len(", mac: ") + 12
    assert MAC in made.after.decode().split("\n")[made.line - 1]
    lay(folder, made.after)
    assert load_inventory(folder).node("a").mac == MAC
    # PyYAML is the other party: the same tree but for the one key (1.1 rules, hence the text of the MAC alone).
    was, now = (yaml.load(d, yaml.BaseLoader) for d in (data, made.after))
    assert now["nodes"][0].pop("mac") == MAC
    assert now == was


@pytest.mark.parametrize("seed", range(4))
def test_any_node_of_the_demo(tmp_path, seed) -> None:
    """Take the MAC line out of one node of the demo, claim it again: the line stands below the board."""
    folder = tmp_path / "inventory"
    shutil.copytree(DEMO, folder)
    chooser = random.Random(seed)
    whole = load_inventory(folder)
    node = chooser.choice([n for n in whole.nodes if n.mac])
    for path in folder.glob("*.yaml"):
        text = path.read_text(encoding="utf-8")
        if f"mac: {node.mac}" in text:
            (line,) = [line for line in text.splitlines(keepends=True) if f"mac: {node.mac}" in line]
            path.write_text(text.replace(line, ""), encoding="utf-8")
            break
    else:
        pytest.fail("no file has it")
    made = claim(folder, node.name, str(node.mac), read_texts)
    assert made.path == path.resolve()
    assert made.after.decode() == text
    path.write_bytes(made.after)
    assert load_inventory(folder) == whole


def test_the_right_file_of_many(tmp_path) -> None:
    folder = lay(tmp_path / "inventory", HEAD)
    (folder / "z").mkdir()
    (folder / "z" / "nodes.yml").write_text(STYLES["block"], encoding="utf-8")
    made = claim(folder, "a", MAC, read_texts)
    assert made.path.name == "nodes.yml"


@pytest.mark.parametrize(
    ("text", "node"),
    [
        (HEAD + STYLES["block"], "b"),  # there is no such node
        (HEAD + STYLES["block"].replace("board:", f"mac: {MAC}\n  board:"), "a"),  # it has one already
        (HEAD + STYLES["block"].replace("board:", "mac:\n  board:"), "a"),  # the inventory has an error
        ("nodes: [", "a"),  # not YAML at all
    ],
)
def test_refused_with_the_line_to_add(tmp_path, text, node) -> None:
    folder = lay(tmp_path / "inventory", text)
    with pytest.raises(UsageError) as caught:
        claim(folder, node, MAC, read_texts)
    assert caught.value.code.code == "INV180"
    assert f"mac: {MAC}" in caught.value.fix
    assert (folder / "all.yaml").read_text(encoding="utf-8") == text


def test_a_mac_that_another_node_has_is_refused(tmp_path) -> None:
    """The loader's own rule (one MAC, one node) holds for what would be written."""
    two = (
        HEAD
        + STYLES["block"]
        + STYLES["block"].partition("\n")[2].replace("name: a", f"name: b\n  mac: {MAC}")
    )
    folder = lay(tmp_path / "inventory", two)
    with pytest.raises(UsageError):
        claim(folder, "a", MAC, read_texts)
