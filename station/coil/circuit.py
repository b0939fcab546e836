"""The coil as a chain of coupled turns: opens, shorted turns and shorts between layers at any frequency.

Nodes are numbered in the order of the current: node 0 is the outer terminal of the top layer, node k lies
behind the k-th turn, the last one is the other terminal. A short joins two nodes by a contact resistance;
the current that it takes is the unknown (mesh analysis with the turn matrix of partial inductances).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from station.coil.eddy import eddy_resistance_s2_ohm
from station.coil.geometry import CoilGeometry, FloatArray
from station.coil.inductance import turn_inductance_h
from station.coil.resistance import connection_resistance_ohm, turn_resistances_ohm
from station.coil.windings import turns_of

ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True)
class Short:
    """A conducting bridge between two nodes of the chain; `first_node` < `last_node`."""

    first_node: int
    last_node: int
    contact_ohm: float = 0.0


@dataclass(frozen=True)
class Open:
    """A broken turn, numbered from 0 in the order of the current."""

    turn: int


@dataclass(frozen=True)
class ImpedanceResult:
    """What a meter at the terminals sees, one number a frequency; infinite resistance and no inductance when open.

    frequency_hz, resistance_ohm (series), inductance_h (series), quality (2 pi f L/R): shape (frequencies,).
    turn_currents: complex current of each turn for 1 A at the terminals, shape (frequencies, turns).
    """

    frequency_hz: FloatArray
    resistance_ohm: FloatArray
    inductance_h: FloatArray
    quality: FloatArray
    turn_currents: ComplexArray


@dataclass(frozen=True, eq=False)
class TurnNetwork:
    """Turn matrix (H), turn resistances (ohm, 20 degC), eddy coefficients (ohm s2) and series resistance (ohm)."""

    inductance_h: FloatArray
    resistance_ohm: FloatArray
    eddy_s2_ohm: FloatArray
    series_ohm: float


def shorted_turns(
    coil: CoilGeometry, *, layer: int, first_index: int, count: int = 1, contact_ohm: float = 0.0
) -> Short:
    """A bridge over `count` neighbouring turns of one layer, from turn `first_index` (0 innermost) outward.

    Raises:
        ValueError: if the coil has no such layer or turns.
    """
    _check_index(coil, layer, first_index, count)
    turns = turns_of(coil)
    inside = (turns.layer == layer) & (turns.index >= first_index) & (turns.index < first_index + count)
    members = np.flatnonzero(inside)
    return Short(int(members[0]), int(members[-1]) + 1, contact_ohm)


def layer_short(coil: CoilGeometry, *, upper_layer: int, index: int, contact_ohm: float = 0.0) -> Short:
    """A bridge through the film from `upper_layer` to the next one, outside turn `index - 1` (so `index` turns
    of each layer lie inside it).

    Raises:
        ValueError: if the coil has no such layers or turns.
    """
    _check_index(coil, upper_layer, 0, max(index, 1))
    _check_index(coil, upper_layer + 1, 0, max(index, 1))
    per_layer = len(coil.turn_fractions())

    def node(layer: int) -> int:
        # Inward layers meet their inner end last, outward layers first.
        return layer * per_layer + (per_layer - index if layer % 2 == 0 else index)

    first, last = sorted((node(upper_layer), node(upper_layer + 1)))
    return Short(first, last, contact_ohm)


def _check_index(coil: CoilGeometry, layer: int, first_index: int, count: int) -> None:
    per_layer = len(coil.turn_fractions())
    if not 0 <= layer < coil.layers:
        raise ValueError(f"the coil has layers 0 to {coil.layers - 1}; got layer {layer}")
    if count < 1 or first_index < 0 or first_index + count > per_layer:
        raise ValueError(f"layer {layer} has turns 0 to {per_layer - 1}; got {count} turns from turn {first_index} on")


@lru_cache(maxsize=64)
def network_of(coil: CoilGeometry) -> TurnNetwork:
    """The turn network of a spiral coil at 20 degC. Each via counts with the turn before it, leads in series."""
    resistance = turn_resistances_ohm(coil)
    per_layer = len(coil.turn_fractions())
    for layer in range(coil.layers - 1):
        resistance[(layer + 1) * per_layer - 1] += coil.via_resistance_ohm
    series = connection_resistance_ohm(coil) - (coil.layers - 1) * coil.via_resistance_ohm
    return TurnNetwork(turn_inductance_h(coil), resistance, eddy_resistance_s2_ohm(coil), series)


def solve_impedance(
    network: TurnNetwork,
    frequency_hz: ArrayLike,
    *,
    faults: Sequence[Short | Open] = (),
    resistance_factor: float = 1.0,
) -> ImpedanceResult:
    """Impedance at the terminals and the current of every turn, with any number of shorts and opens.

    Args:
        frequency_hz: one or more frequencies above 0.
        resistance_factor: resistance of the copper relative to 20 degC.

    An open that no short bridges leaves the coil open: resistance infinite, inductance and quality not a
    number, all currents 0. Eddy losses are those of the healthy coil's field. Capacitance is left out.
    Known error: within 0.2 points of dL of a voxel solver for shorted turns in a coil of 2 x 35 turns.

    Raises:
        ValueError: for a fault outside the chain or a frequency that is not above 0.
    """
    frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    if not np.all(frequency > 0):
        raise ValueError(f"frequency must be above 0 Hz; got {frequency.min():g} Hz")
    turns = len(network.resistance_ohm)
    shorts = [fault for fault in faults if isinstance(fault, Short)]
    opens = sorted({fault.turn for fault in faults if isinstance(fault, Open)})
    _check_faults(shorts, opens, turns)
    omega = 2 * np.pi * frequency
    eddy = omega[:, None] ** 2 * network.eddy_s2_ohm / resistance_factor
    resistance = network.resistance_ohm * resistance_factor + eddy
    impedance = resistance.sum(axis=1) + 1j * omega * network.inductance_h.sum()
    currents: ComplexArray = np.ones((len(omega), turns), dtype=complex)
    if shorts:
        meshes = _meshes_of(network, omega, resistance, shorts)
        taken = _bridge_currents(meshes, opens)
        if taken is None:
            return _open_result(frequency, turns)
        currents -= np.einsum("fi,ti->ft", taken, meshes.bridges)
        # Power balance for 1 A: right even where the voltage of a broken turn is unknown, as it carries no current.
        impedance -= 2 * np.einsum("fi,fi->f", meshes.drive, taken)
        impedance += np.einsum("fi,fij,fj->f", taken, meshes.impedance, taken)
    elif opens:
        return _open_result(frequency, turns)
    impedance += network.series_ohm * resistance_factor
    inductance = impedance.imag / omega
    return ImpedanceResult(frequency, impedance.real, inductance, impedance.imag / impedance.real, currents)


@dataclass(frozen=True, eq=False)
class _Meshes:
    """One mesh a bridge: turns in it (turns, shorts), its impedances (frequencies, shorts, shorts), and what
    1 A through the whole chain drives into it (frequencies, shorts)."""

    bridges: FloatArray
    impedance: ComplexArray
    drive: ComplexArray


def _meshes_of(network: TurnNetwork, omega: FloatArray, resistance: FloatArray, shorts: list[Short]) -> _Meshes:
    bridges = np.zeros((len(network.resistance_ohm), len(shorts)))
    for column, short in enumerate(shorts):
        bridges[short.first_node : short.last_node, column] = 1.0
    # einsum, not @: a threaded product of matrices this small waits for its threads longer than it computes.
    flux = np.einsum("st,ti->si", network.inductance_h, bridges)
    impedance = np.einsum("ti,ft,tj->fij", bridges, resistance, bridges)
    impedance = impedance + 1j * omega[:, None, None] * np.einsum("si,sj->ij", bridges, flux)
    impedance = impedance + np.diag([short.contact_ohm for short in shorts])
    drive = np.einsum("ti,ft->fi", bridges, resistance) + 1j * omega[:, None] * flux.sum(axis=0)
    return _Meshes(bridges, impedance, drive)


def _check_faults(shorts: list[Short], opens: list[int], turns: int) -> None:
    for short in shorts:
        if not 0 <= short.first_node < short.last_node <= turns or not 0 <= short.contact_ohm < np.inf:
            raise ValueError(f"a short joins two of the nodes 0 to {turns} by 0 ohm or more; got {short}")
    for turn in opens:
        if not 0 <= turn < turns:
            raise ValueError(f"an open breaks one of the turns 0 to {turns - 1}; got {turn}")


def _bridge_currents(meshes: _Meshes, opens: list[int]) -> ComplexArray | None:
    """Current of every bridge for 1 A; None when nothing carries the current past an open turn."""
    if not opens and meshes.bridges.shape[1] == 1:
        return meshes.drive / meshes.impedance[:, :, 0]
    crossing = meshes.bridges[opens]
    all_current = np.ones((len(opens), 1))
    if opens and np.linalg.matrix_rank(crossing) < np.linalg.matrix_rank(np.hstack([crossing, all_current])):
        return None
    frequencies, shorts = meshes.drive.shape
    size = shorts + len(opens)
    # A broken turn carries no current: its unknown voltage joins the unknown currents of the bridges.
    matrix = np.zeros((frequencies, size, size), dtype=complex)
    matrix[:, :shorts, :shorts] = meshes.impedance
    matrix[:, :shorts, shorts:] = crossing.T
    matrix[:, shorts:, :shorts] = crossing
    right = np.concatenate([meshes.drive, np.ones((frequencies, len(opens)))], axis=1)
    # The pseudo-inverse shares the current of two like bridges, and the voltage of two breaks in one bridge.
    solution = np.einsum("fij,fj->fi", np.linalg.pinv(matrix, rcond=1e-13), right)
    return solution[:, :shorts]


def _open_result(frequency: FloatArray, turns: int) -> ImpedanceResult:
    nothing = np.full(len(frequency), np.nan)
    return ImpedanceResult(
        frequency, np.full(len(frequency), np.inf), nothing, nothing, np.zeros((len(frequency), turns), dtype=complex)
    )
