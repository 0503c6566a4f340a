"""A small solver of resistor networks for the tests: Kirchhoff's current law at each node, by Gauss elimination.

It knows nothing of probes; `wet_tank` puts probes, water and pull-ups together as they are in a tank.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Circuit:
    """Resistors between named nodes; `held` are nodes at a given voltage."""

    held: dict[str, float]
    resistors: list[tuple[str, str, float]] = field(default_factory=list)

    def join(self, one: str, other: str, ohm: float) -> None:
        """A resistor between two nodes."""
        self.resistors.append((one, other, ohm))

    def volts(self) -> dict[str, float]:
        """The voltage of every node. A node that nothing holds, by whatever way, is a mistake of the test."""
        names = sorted({n for one, other, _ in self.resistors for n in (one, other)} - set(self.held))
        at = {name: index for index, name in enumerate(names)}
        rows = [[0.0] * (len(names) + 1) for _ in names]
        for one, other, ohm in self.resistors:
            for here, there in ((one, other), (other, one)):
                if here not in at:
                    continue
                rows[at[here]][at[here]] += 1 / ohm
                if there in at:
                    rows[at[here]][at[there]] -= 1 / ohm
                else:
                    rows[at[here]][-1] += self.held[there] / ohm
        return {**self.held, **dict(zip(names, _solved(rows), strict=True))}


def _solved(rows: list[list[float]]) -> list[float]:
    """Gauss and Jordan, the largest pivot first."""
    size = len(rows)
    for k in range(size):
        best = max(range(k, size), key=lambda r: abs(rows[r][k]))
        rows[k], rows[best] = rows[best], rows[k]
        assert rows[k][k], "a node floats"
        rows[k] = [value / rows[k][k] for value in rows[k]]
        for r in range(size):
            if r != k:
                by = rows[r][k]
                rows[r] = [a - by * b for a, b in zip(rows[r], rows[k], strict=True)]
    return [row[-1] for row in rows]


SUPPLY_V = 3.3
DRY_OHM = 1e9


def wet_tank(
    electrodes: dict[str, float],
    water_m: float,
    pins: dict[str, str],
    ground: str,
    pull_ups: dict[str, float],
    half_ohm: float,
) -> dict[str, float]:
    """Volts at each pin. `electrodes`: name and height of its tip; `pins`: which electrode each pin's wire goes to,
    `ground` the one of the ground wire; `pull_ups`: pins whose pull-up is on, with its ohm.

    Each electrode under water has `half_ohm` to the body of the water, half of what a pair has; one above it has a
    gigohm.
    """
    circuit = Circuit({"3v3": SUPPLY_V, f"e-{ground}": 0.0})
    for name, tip_m in electrodes.items():
        circuit.join(f"e-{name}", "water", half_ohm if tip_m < water_m else DRY_OHM)
    for pin, electrode in pins.items():
        circuit.join(f"e-{electrode}", f"pin-{pin}", 1e-3)  # the wire
        if pin in pull_ups:
            circuit.join("3v3", f"pin-{pin}", pull_ups[pin])
    volts = circuit.volts()
    return {pin: volts[f"pin-{pin}"] for pin in pins}
