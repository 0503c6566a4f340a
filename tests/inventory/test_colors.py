"""Colours of wires: what means earth, what means one colour, however it is written."""

from __future__ import annotations

import pytest

from fleet.check.colors import color_key, is_earth, is_like_earth


@pytest.mark.parametrize(
    "color",
    [
        "green/yellow", "yellow/green", "green-yellow", "Green Yellow", "green and yellow", "green with yellow stripe",
        "yellow with a green stripe", "greenyellow", "GNYE", "GN/YE", "gn-ye", "YE-GN", "G/Y", "Y/G", "gnge",
        "grün/gelb", "gelb-grün", "grüngelb", "gruen/gelb", "vert/jaune", "vert et jaune", "verde/amarillo",
        "grn/yel", "GRN/YLW", "yel-grn", "GNYE 1.5 mm2", "green/yellow 14 AWG", "GN/YE 0.75mm²", "zielono-żółty",
        "keltavihreä", "vihreä/keltainen", "žlutozelená", "zeleno-žlutý", "verde y amarillo", "verde/amarelo",
        "giallo verde", "groen/geel", "gul/grön", "light green/yellow",
    ],
)  # fmt: skip
def test_green_and_yellow_however_written_is_earth(color: str) -> None:
    """IEC 60445, IEC 60204-1 13.2.2; letters of IEC 60757 (GNYE) and DIN 47100 (ge)."""
    assert is_earth(color)
    assert not is_like_earth(color)


@pytest.mark.parametrize(
    "color",
    [
        "PE", "pe", "earth", "Earth", "protective earth", "PE conductor", "earth wire", "bare", "bare copper",
        "copper, bare", "bare wire 1.5 mm2", "uninsulated", "Erde", "Schutzleiter", "blank", "terre", "tierra",
        "desnudo", "PE green/yellow", "PE (green)", "earth yellow/green", "equipment grounding conductor",
    ],
)  # fmt: skip
def test_earth_by_its_name_and_a_bare_core(color: str) -> None:
    """IEC 60445 and IEC 60204-1 13.2.2: PE; NEC 250.119: bare, green, green with yellow stripes."""
    assert is_earth(color)
    assert not is_like_earth(color)


@pytest.mark.parametrize(
    "color",
    [
        "GRN",
        "green 18 AWG",
        "zielony",
        "vihreä",
        "zelená",
        "green",
        "Green",
        "GN",
        "grün",
        "vert",
        "light green",
        "dark-green",
        "green wire",
        "yellow",
        "YE",
        "gelb",
        "light yellow",
        "amarillo",
    ],
)
def test_green_alone_and_yellow_alone(color: str) -> None:
    """IEC 60204-1 13.2.4: neither where it may be confused with green-and-yellow; NEC 250.119 (green)."""
    assert is_like_earth(color)
    assert not is_earth(color)


@pytest.mark.parametrize(
    "color",
    [
        "white/green", "green/white", "white/blue", "GY", "grey", "white/yellow", "yellow/white", "brown/green",
        "ground", "GND", "bare red", "pearl", "yellow/brown", "blue",
        "olive", "BU", "white/green/yellow", "2", "core 3", "ring",
    ],
)  # fmt: skip
def test_other_colours_are_neither(color: str) -> None:
    """GY is grey in IEC 60757; the others are cores of signal cables (DIN 47100, pairs of telephone cables)."""
    assert not is_earth(color)
    assert not is_like_earth(color)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("white", "White", True),
        ("white/blue", "white-blue", True),
        ("grey", "gray", True),
        ("GY", "grey", True),
        ("BU", "blue", True),
        ("GNYE", "yellow and green", True),
        ("violet", "purple", True),
        ("white/blue", "blue/white", False),
        ("light blue", "dark blue", False),
        ("core 3", "core 4", False),
        ("1", "2", False),
        ("ring", "band", False),
        ("white", "white/blue", False),
    ],
)
def test_one_colour_written_in_two_ways(one: str, other: str, same: bool) -> None:
    """IEC 60757 gives the letters; white/blue and blue/white are the two wires of one pair (25-pair telephone code,
    from memory), and numbered cores are known by their number."""
    assert (color_key(one) == color_key(other)) is same
