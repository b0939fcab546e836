"""A seeded lot of coils: what etching, plating and handling make of one design.

Everything is a pure function of (seed, serial): no unit depends on which other units were asked for.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from sim.design import IS_20, design_values
from sim.made import BRIDGE_OHM, Drawn, bridged
from sim.noise import key, normal, uniform
from sim.truth import GOOD_CONTACT_OHM, OPEN_OHM, CoilTruth, SkinRise
from station.coil import CoilGeometry
from station.coil.circuit import layer_short, shorted_turns

ROWS = "ABCDEFGH"
COLUMNS = 12
POOR_CONTACT_OHM = 5.0
_SERIAL = re.compile(r"(?P<lot>L\d{4})-(?P<panel>\d{2})-(?P<row>[A-H])(?P<column>0[1-9]|1[0-2])")


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviations of what the board maker does, relative unless said (stated for the simulation)."""

    etch_bias_m: float = 4e-6
    """Of the whole lot: track width off by so much."""
    panel_copper: float = 0.055
    panel_etch_m: float = 2e-6
    gradient: float = 0.09
    """Copper thickness over half a panel, by plating."""
    neck: float = 0.025
    """Local narrow places, a unit: only ever raises the resistance."""
    unit: float = 0.01
    layer_gap: float = 0.10
    bow_m: float = 10e-6
    contact: float = 0.3
    thermal_resistance: float = 0.05


@dataclass(frozen=True, slots=True)
class DefectRates:
    """How often what goes wrong, a unit."""

    open: float = 0.004
    shorted_turns: float = 0.006
    layer_short: float = 0.001
    high_resistance: float = 0.006
    poor_contact: float = 0.008


NO_DEFECTS = DefectRates(0.0, 0.0, 0.0, 0.0, 0.0)


class Lot:
    """The units of one lot. `defects` puts a named defect on a serial (or none: "") whatever chance says."""

    def __init__(
        self,
        seed: int,
        *,
        name: str = "L2641",
        panels: int = 30,
        design: CoilGeometry = IS_20,
        spread: Spread | None = None,
        rates: DefectRates | None = None,
        defects: Mapping[str, str] | None = None,
    ) -> None:
        self.seed = seed
        self.name = name
        self.panels = panels
        self.design = design
        self.spread = spread or Spread()
        self.rates = rates or DefectRates()
        self._defects = dict(defects or {})
        self._nominal = design_values(design)

    def serials(self) -> Iterator[str]:
        """Yield every serial of the lot, panel by panel, row by row."""
        for panel in range(1, self.panels + 1):
            for row in ROWS:
                for column in range(1, COLUMNS + 1):
                    yield f"{self.name}-{panel:02d}-{row}{column:02d}"

    def truth(self, serial: str) -> CoilTruth:
        """Return the unit of a serial; `KeyError` if the lot has none."""
        drawn = self.made(serial)
        return self._with_defect(self._healthy(serial, drawn), drawn)

    def made(self, serial: str) -> Drawn:
        """Return what became of the drawing at a unit's place: what a microscope or a coupon beside it would find.

        `KeyError` if the lot has no such unit.
        """
        found = _SERIAL.fullmatch(serial)
        if not found or found["lot"] != self.name or not 1 <= int(found["panel"]) <= self.panels:
            raise KeyError(serial)
        return self._drawn(serial, found["panel"], ROWS.index(found["row"]), int(found["column"]) - 1)

    def _draw(self, *parts: str) -> float:
        return normal(key("lot", self.seed, self.name, *parts))

    def _drawn(self, serial: str, panel: str, row: int, column: int) -> Drawn:
        """Return what etching, plating and lamination made of the drawing at one place."""
        spread, design = self.spread, self.design
        wider_m = spread.etch_bias_m * self._draw("etch") + spread.panel_etch_m * self._draw(panel, "etch")
        copper = (1.0 + spread.panel_copper * self._draw(panel, "copper")) * (
            1.0 + self._gradient(panel, row, column)
        )
        gap = spread.layer_gap * self._draw(serial, "layer gap")
        change_m = (
            max(-0.7 * design.track_width_m, wider_m),
            0.0,
            (max(0.3, copper) - 1.0) * design.copper_m,
            max(-0.7, gap) * min(design.layer_gaps_m, default=0.0),
        )
        necks = 1.0 + spread.neck * abs(self._draw(serial, "necks")) + spread.unit * self._draw(serial, "unit")
        return Drawn(self.design, change_m, necks)

    def _healthy(self, serial: str, drawn: Drawn) -> CoilTruth:
        spread, nominal = self.spread, self._nominal
        return CoilTruth(
            serial=serial,
            resistance_20_ohm=drawn.resistance_20_ohm(),
            inductance_h=drawn.inductance_h(),
            field_per_ampere=nominal.field_per_ampere,
            resistance_ratio=SkinRise(nominal.skin_corner_hz),
            self_capacitance_f=nominal.capacitance_f,
            bow_m=spread.bow_m * abs(self._draw(serial, "bow")),
            contact_start_ohm=GOOD_CONTACT_OHM * (1.0 + spread.contact * abs(self._draw(serial, "start"))),
            contact_end_ohm=GOOD_CONTACT_OHM * (1.0 + spread.contact * abs(self._draw(serial, "end"))),
        )

    def _gradient(self, panel: str, row: int, column: int) -> float:
        x = 2.0 * column / (COLUMNS - 1) - 1.0
        y = 2.0 * row / (len(ROWS) - 1) - 1.0
        # Plating is thicker towards the panel's edge; each panel hangs a little differently in the bath.
        edge = 0.5 * (x * x + y * y) - 1.0 / 3.0
        tilt = 0.5 * (x * self._draw(panel, "tilt x") + y * self._draw(panel, "tilt y"))
        return self.spread.gradient * (edge + tilt)

    def _with_defect(self, healthy: CoilTruth, drawn: Drawn) -> CoilTruth:
        defect = self._defects.get(healthy.serial, self._drawn_defect(healthy.serial))
        if not defect:
            return healthy
        share = uniform(key("lot", self.seed, healthy.serial, "how bad"))
        return DEFECTS[defect](healthy, drawn, share)

    def _drawn_defect(self, serial: str) -> str:
        chance = uniform(key("lot", self.seed, serial, "defect"))
        for defect in DEFECTS:
            chance -= getattr(self.rates, defect)
            if chance < 0.0:
                return defect
        return ""


def _open(coil: CoilTruth, drawn: Drawn, share: float) -> CoilTruth:
    return replace(coil, resistance_20_ohm=OPEN_OHM, defect="open")


def _shorted_turns(coil: CoilTruth, drawn: Drawn, share: float) -> CoilTruth:
    # One to five neighbouring turns of one layer, anywhere on it.
    count = 1 + int(5 * share)
    place = share * 1e3 % 1.0
    per_layer = int(drawn.design.turns_per_layer)
    layer = int(place * drawn.design.layers)
    first = int(place * 1e3 % 1.0 * (per_layer - count + 1))
    short = shorted_turns(drawn.geometry(), layer=layer, first_index=first, count=count, contact_ohm=BRIDGE_OHM)
    return bridged(coil, drawn, short, "shorted_turns")


def _layer_short(coil: CoilTruth, drawn: Drawn, share: float) -> CoilTruth:
    index = 1 + int(share * (int(drawn.design.turns_per_layer) - 1))
    short = layer_short(drawn.geometry(), upper_layer=0, index=index, contact_ohm=BRIDGE_OHM)
    return bridged(coil, drawn, short, "layer_short")


def _high_resistance(coil: CoilTruth, drawn: Drawn, share: float) -> CoilTruth:
    return replace(
        coil, resistance_20_ohm=coil.resistance_20_ohm * (1.35 + 0.4 * share), defect="high_resistance"
    )


def _poor_contact(coil: CoilTruth, drawn: Drawn, share: float) -> CoilTruth:
    poor = replace(coil, contact_cured_by_reseating=True, defect="poor_contact")
    ohm = POOR_CONTACT_OHM if share % 0.5 < 0.25 else OPEN_OHM
    if share < 0.5:
        return replace(poor, contact_start_ohm=ohm)
    return replace(poor, contact_end_ohm=ohm)


DEFECTS: Mapping[str, Callable[[CoilTruth, Drawn, float], CoilTruth]] = {
    "open": _open,
    "shorted_turns": _shorted_turns,
    "layer_short": _layer_short,
    "high_resistance": _high_resistance,
    "poor_contact": _poor_contact,
}


def truth_near(
    serial: str,
    *,
    resistance_20_ohm: float | None = None,
    inductance_h: float | None = None,
    field_scale: float = 1.0,
    design: CoilGeometry = IS_20,
) -> CoilTruth:
    """Return a healthy coil with stated values, the design's where none is stated.

    So tests can pile units around a limit. It has no capacitance and no bow: what is stated is what a perfect
    bench reads.
    """
    nominal = design_values(design)
    return CoilTruth(
        serial=serial,
        resistance_20_ohm=nominal.resistance_20_ohm if resistance_20_ohm is None else resistance_20_ohm,
        inductance_h=nominal.inductance_h if inductance_h is None else inductance_h,
        field_per_ampere=nominal.field_per_ampere,
        field_scale=field_scale,
    )
