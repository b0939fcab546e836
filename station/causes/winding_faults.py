"""The table of bridged turns: every layer, first turn, count and contact, by the coupled circuit of the turns."""

from dataclasses import dataclass

import numpy as np

from station.causes.kinds import Cause
from station.causes.observables import L2_L, NAMES, R20, RS2_RS, RS_R20, B, Drawn, L, split_field
from station.coil.capacitance import apparent_series, self_resonance
from station.coil.circuit import Short, TurnNetwork, layer_short, network_of, shorted_turns, solve_impedance
from station.coil.constants import MU0_H_PER_M
from station.coil.geometry import CoilGeometry, FloatArray
from station.coil.windings import turns_of

_DIRECT_HZ = 1.0
"""Low enough to stand for direct current."""

_COUNTS = (1, 2, 3, 4, 5, 6, 8, 10, 14, 20, 28, 40)
_FEW = 5
_CONTACTS = ((0.0, 0.6), (0.1, 0.15), (0.3, 0.1), (1.0, 0.1), (3.0, 0.05))
"""Resistance of the bridge, in mean resistances of a bridged turn, and how often (ours: most are solid copper)."""


@dataclass(frozen=True, eq=False)
class FaultTable:
    """One kind of bridge: shift of the observables (J, 7), share of each case (J,), and (layer, first, count, ohm)."""

    shift: FloatArray
    share: FloatArray
    places: tuple[tuple[int, int, int, float], ...]


def fault_cases(drawn: Drawn) -> dict[Cause, FaultTable]:
    """Return the shorted turns and, with more than one layer, the shorts between layers, of a drawing."""
    coil, network = drawn.coil, network_of(drawn.coil)
    per_layer = len(coil.turn_fractions())
    turns: list[tuple[Short, float, tuple[int, int, int, float]]] = []
    for layer in range(coil.layers):
        for count in (each for each in _COUNTS if each <= per_layer):
            for first in range(per_layer - count + 1):
                for ratio, often in _CONTACTS if count <= _FEW else _CONTACTS[:1]:
                    short = shorted_turns(coil, layer=layer, first_index=first, count=count)
                    share = often / count**2 / (per_layer - count + 1)
                    turns.append(_case(network, short, share, ratio, (layer, first, count)))
    tables = {Cause.SHORTED_TURNS: _table(drawn, network, turns)}
    bridges = []
    for layer in range(coil.layers - 1):
        # The last one would bridge the terminals of two layers: nothing of either is left.
        for first in range(1, per_layer):
            for ratio, often in _CONTACTS:
                short = layer_short(coil, upper_layer=layer, index=first)
                if short.last_node > short.first_node:
                    place = (layer, first, short.last_node - short.first_node)
                    bridges.append(_case(network, short, often, ratio, place))
    if bridges:
        tables[Cause.LAYER_SHORT] = _table(drawn, network, bridges)
    return tables


def _case(
    network: TurnNetwork, short: Short, share: float, ratio: float, place: tuple[int, int, int]
) -> tuple[Short, float, tuple[int, int, int, float]]:
    bridged_ohm = float(network.resistance_ohm[short.first_node : short.last_node].sum())
    contact_ohm = ratio * bridged_ohm / place[2]
    return Short(short.first_node, short.last_node, contact_ohm), share, (*place, contact_ohm)


def _table(
    drawn: Drawn, network: TurnNetwork, cases: list[tuple[Short, float, tuple[int, int, int, float]]]
) -> FaultTable:
    frequencies = np.array([_DIRECT_HZ, *drawn.frequencies_hz])
    capacitance_f = self_resonance(drawn.coil).capacitance_f
    per_turn = _turn_fields_t_per_a(drawn.coil, np.array(drawn.heights_m))

    def read(shorts: list[Short]) -> tuple[FloatArray, FloatArray, FloatArray]:
        seen = solve_impedance(network, frequencies, faults=shorts)
        series, inductance = apparent_series(seen.resistance_ohm, seen.inductance_h, capacitance_f, frequencies)
        return np.log(series), np.log(inductance), per_turn @ seen.turn_currents[0].real

    sound_r, sound_l, sound_b = read([])
    shift = np.zeros((len(cases), len(NAMES)))
    field_change = np.zeros((len(cases), len(drawn.heights_m)))
    for row, (short, _, _) in enumerate(cases):
        series, inductance, flux = read([short])
        series, inductance = series - sound_r, inductance - sound_l
        shift[row, R20], shift[row, L] = series[0], inductance[1]
        shift[row, RS_R20] = series[1] - series[0]
        if len(frequencies) > 2:
            shift[row, L2_L], shift[row, RS2_RS] = inductance[2] - inductance[1], series[2] - series[1]
        field_change[row] = np.log(np.maximum(flux / sound_b, 1e-3))
    if drawn.heights_m:
        shift[:, B:] = np.nan_to_num(split_field(field_change, drawn))
    share = np.array([each[1] for each in cases])
    return FaultTable(shift, share / share.sum(), tuple(each[2] for each in cases))


def _turn_fields_t_per_a(coil: CoilGeometry, heights_m: FloatArray) -> FloatArray:
    """On-axis flux density (T/A) of each turn as a ring at its mean radius, shape (heights, turns).

    mu0 a^2/(2 (a^2 + z^2)^1.5) (law of Biot and Savart). Only ratios of its sums are used.
    """
    turns = turns_of(coil)
    distance = heights_m[:, None] - turns.height_m[None, :]
    radius = turns.radius_m[None, :]
    each = MU0_H_PER_M * radius**2 / 2 / (radius**2 + distance**2) ** 1.5
    return each * (turns.sense * turns.fraction)[None, :]
