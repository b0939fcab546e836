"""The table of bridged turns: every layer, first turn, count and contact, by the coupled circuit of the turns."""

from dataclasses import dataclass

import numpy as np

from station.causes.kinds import Cause
from station.causes.observables import L2_L, NAMES, R20, RS2_RS, RS_R20, B, Drawn, L, split_field
from station.coil.capacitance import apparent_series, self_resonance
from station.coil.circuit import (
    ComplexArray,
    Short,
    TurnNetwork,
    layer_short,
    network_of,
    shorted_turns,
    solve_impedance,
)
from station.coil.constants import MU0_H_PER_M
from station.coil.geometry import CoilGeometry, FloatArray
from station.coil.windings import turns_of

_DIRECT_HZ = 1.0
"""Low enough to stand for direct current."""

_COUNTS = (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 17, 20, 24, 28, 34, 40)
_FEW = 5
_FACTOR = 1.15
"""Of R, for the slope with a unit's own copper."""
_CONTACTS = ((0.0, 0.6), (0.1, 0.15), (0.3, 0.1), (1.0, 0.1), (3.0, 0.05))
"""Resistance of the bridge, in mean resistances of a bridged turn, and how often (ours: most are solid copper)."""


@dataclass(frozen=True, eq=False)
class FaultTable:
    """One kind of bridge: shift of the observables (J, 7), share of each case (J,), and (layer, first, count, ohm).

    per_copper: by how much each shift changes with ln R of the unit's own copper (J, 7): the loop's time constant does.
    """

    shift: FloatArray
    per_copper: FloatArray
    share: FloatArray
    places: tuple[tuple[int, int, int, float], ...]


def fault_cases(drawn: Drawn) -> dict[Cause, FaultTable]:
    """Return the shorted turns and, with more than one layer, the shorts between layers, of a drawing."""
    coil, network = drawn.coil, network_of(drawn.coil)
    per_layer = len(coil.turn_fractions())
    turns: list[tuple[Short, float, tuple[int, int, int, float]]] = []
    for layer in range(coil.layers):
        for count in (each for each in _COUNTS if each <= per_layer and each < per_layer * coil.layers):
            for first in range(per_layer - count + 1):
                for ratio, often in _CONTACTS if count <= _FEW else _CONTACTS[:1]:
                    short = shorted_turns(coil, layer=layer, first_index=first, count=count)
                    share = often / count / (per_layer - count + 1)
                    turns.append(_case(network, short, share, ratio, (layer, first, count)))
    # A coil of one turn has none that could be bridged and leave a coil.
    tables = {Cause.SHORTED_TURNS: _table(drawn, network, turns)} if turns else {}
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
    shorts = [each[0] for each in cases]
    shift, higher, lower = (_shifts(drawn, network, shorts, factor) for factor in (1.0, _FACTOR, 1 / _FACTOR))
    share = np.array([each[1] for each in cases])
    per_copper = (higher - lower) / (2 * np.log(_FACTOR))
    return FaultTable(shift, per_copper, share / share.sum(), tuple(each[2] for each in cases))


def _shifts(drawn: Drawn, network: TurnNetwork, cases: list[Short], factor: float) -> FloatArray:
    """Shifts of the observables (J, 7) against the sound coil, both with `factor` times the drawing's resistance.

    The bridges' resistances grow by it too: they are given in turns.
    """
    frequencies = np.array([_DIRECT_HZ, *drawn.frequencies_hz])
    capacitance_f = self_resonance(drawn.coil).capacitance_f
    sound = solve_impedance(network, frequencies, resistance_factor=factor)
    bridged, current = _bridged(network, frequencies, cases, factor)
    series, inductance = _apparent(bridged, capacitance_f, frequencies)
    sound_r, sound_l = apparent_series(sound.resistance_ohm, sound.inductance_h, capacitance_f, frequencies)
    resistance, inductance = np.log(series / sound_r), np.log(inductance / sound_l)
    shift = np.zeros((len(cases), len(NAMES)))
    shift[:, R20], shift[:, L] = resistance[:, 0], inductance[:, 1]
    shift[:, RS_R20] = resistance[:, 1] - resistance[:, 0]
    if len(frequencies) > 2:
        shift[:, L2_L], shift[:, RS2_RS] = inductance[:, 2] - inductance[:, 1], resistance[:, 2] - resistance[:, 1]
    if drawn.heights_m:
        per_turn = _turn_fields_t_per_a(drawn.coil, np.array(drawn.heights_m))
        ratio = (current @ per_turn.T) / per_turn.sum(axis=1)
        shift[:, B:] = np.nan_to_num(split_field(np.log(np.maximum(ratio, 1e-3)), drawn))
    return shift


def _bridged(
    network: TurnNetwork, frequency_hz: FloatArray, cases: list[Short], factor: float
) -> tuple[ComplexArray, FloatArray]:
    """Impedance (J, frequencies) and direct current of every turn for 1 A (J, turns), with one short each.

    `circuit.solve_impedance` for thousands of single shorts at once: Z less D^2/M, with M the impedance of the bridge's
    mesh and D what 1 A drives into it (mesh analysis).
    """
    turns = np.arange(len(network.resistance_ohm))
    first, last = (np.array([[getattr(each, end)] for each in cases]) for end in ("first_node", "last_node"))
    inside = ((turns >= first) & (turns < last)).astype(float)
    contact = factor * np.array([each.contact_ohm for each in cases])
    own_flux = np.einsum("jt,jt->j", inside @ network.inductance_h, inside)
    driven_flux = inside @ network.inductance_h.sum(axis=1)
    impedance = np.empty((len(cases), len(frequency_hz)), dtype=complex)
    current = np.ones_like(inside)
    for place, omega in enumerate(2 * np.pi * frequency_hz):
        resistance = network.resistance_ohm * factor + omega**2 * network.eddy_s2_ohm / factor
        own, driven = inside @ resistance, inside @ resistance + 1j * omega * driven_flux
        mesh = own + contact + 1j * omega * own_flux
        whole = resistance.sum() + network.series_ohm * factor + 1j * omega * network.inductance_h.sum()
        impedance[:, place] = whole - driven**2 / mesh
        if place == 0:
            current -= (driven / mesh).real[:, None] * inside
    return impedance, current


def _apparent(
    impedance: ComplexArray, capacitance_f: float, frequency_hz: FloatArray
) -> tuple[FloatArray, FloatArray]:
    inductance = impedance.imag / (2 * np.pi * frequency_hz)
    return apparent_series(impedance.real, inductance, capacitance_f, frequency_hz)


def _turn_fields_t_per_a(coil: CoilGeometry, heights_m: FloatArray) -> FloatArray:
    """On-axis flux density (T/A) of each turn as a ring at its mean radius, shape (heights, turns).

    mu0 a^2/(2 (a^2 + z^2)^1.5) (law of Biot and Savart). Only ratios of its sums are used.
    """
    turns = turns_of(coil)
    distance = heights_m[:, None] - turns.height_m[None, :]
    radius = turns.radius_m[None, :]
    each = MU0_H_PER_M * radius**2 / 2 / (radius**2 + distance**2) ** 1.5
    return each * (turns.sense * turns.fraction)[None, :]
