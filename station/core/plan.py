"""A control plan: which methods, how often, which characteristics, which limits, which bins.

Frozen data only. `station.core.plan_file` makes it from text and finds the mistakes; a released revision is
kept whole, as text, in the records.
"""

from dataclasses import dataclass, field
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class CoilDesign:
    """The drawing. Geometry: Archimedean spiral, inner copper edge at `inner_diameter_m / 2`."""

    shape: str
    """`circle`, `square` or `polygon` (then `sides`)."""
    layers: int
    turns_per_layer: float
    inner_diameter_m: float
    track_width_m: float
    track_gap_m: float
    copper_m: float
    """Finished copper thickness."""
    layer_gap_m: float
    """Copper to copper; 0 for one layer."""
    sides: int = 0
    lead_resistance_ohm: float = 0.0


class FrequencyKind(StrEnum):
    """How often a method is due (AIAG control plan: sample frequency)."""

    EVERY = "every"
    ONE_IN = "one_in"
    FIRST_OFF = "first_off"
    PER_PANEL = "per_panel"


@dataclass(frozen=True, slots=True)
class Frequency:
    """`kind`, and `n` for ONE_IN (1 in n) and FIRST_OFF / PER_PANEL (the first n)."""

    kind: FrequencyKind = FrequencyKind.EVERY
    n: int = 1


@dataclass(frozen=True, slots=True)
class MethodStep:
    """One entry of `[[measure]]`; the subclasses say what each method is set to."""

    method: str
    frequency: Frequency


@dataclass(frozen=True, slots=True)
class ContactStep(MethodStep):
    """Force-to-sense continuity of each pad."""

    limit_ohm: float = 1.0
    open_is_fail: bool = False
    """True: a coil that reads open on two seatings with good contact is FAIL; else INVALID, re-seat."""


@dataclass(frozen=True, slots=True)
class ResistanceStep(MethodStep):
    """Four-wire DC resistance, reduced to 20 degC, after it has held still."""

    level_v: float = 0.1
    averaging: int = 4
    range_ohm: float | None = None
    """None: the smallest range above the upper limit of R20."""
    still_fraction: float = 2e-4
    """Two readings `still_interval_s` apart must agree within this, relative."""
    still_interval_s: float = 2.0
    still_timeout_s: float = 60.0
    still_time_constant_s: float = 20.0
    """Longest thermal time constant of the coil in the nest: what a slow change may still have to go."""


@dataclass(frozen=True, slots=True)
class InductanceStep(MethodStep):
    """Ls and Rs at one frequency, sensor stage retracted. Characteristics `L` and, if asked, `Rs`, `Q`."""

    test_frequency_hz: float = 100e3
    level_v: float = 1.0
    averaging: int = 4
    range_ohm: float | None = None
    suffix: str = ""
    """Added to the names `L`, `Rs`, `Q`: empty for a plan's first inductance step, then such as `@300kHz`."""


@dataclass(frozen=True, slots=True)
class FieldStep(MethodStep):
    """Field per ampere at heights, by current reversal + - - + over whole mains cycles."""

    drive_a: float = 0.1
    heights_m: tuple[float, ...] = ()
    mains_cycles: int = 2
    settle_s: float = 0.05
    height_offset_limit_m: float = 0.3e-3
    lateral_limit_m: float = 1.0e-3
    voltage_limit_v: float = 10.0


@dataclass(frozen=True, slots=True)
class HeatingStep(MethodStep):
    """A ladder of drive levels; the winding's rise over ambient at each."""

    drives: tuple[float, ...] = ()
    drive_quantity: str = "voltage_v"
    """`voltage_v` or `current_a`."""
    mounting: str = ""
    """What the coil lies on, in a word or two: a film in air and on metal differ tenfold. Empty: no thermal
    resistance is stated."""
    temperature_limit_degc: float = 80.0
    """Neither winding nor surface may pass it; the ladder ends below it."""
    ambient_degc: float = 23.0
    """At which the largest drive within the temperature limit is stated."""
    target_k: float = 0.5
    """How exactly the rise is wanted: in K, or as a fraction of the rise; the other is 0."""
    target_fraction: float = 0.0
    audit_one_in: int = 25
    """One unit in so many is soaked out, to see that stopping early is right. 1: every unit."""
    soak_s: float = 300.0
    """How long a level lasts if it is not stopped early: the full soak."""
    longest_time_constant_s: float = 30.0
    """The coil's own, in the nest. What is slower is found by audits only."""
    voltage_limit_v: float = 10.0
    current_limit_a: float = 1.0
    power_limit_w: float = 5.0
    touch_limit_degc: float = 48.0
    """The unit stays in the nest until it is below (ISO 13732-1: 48 degC for 10 min of contact; from memory)."""
    cooling_s: float = 300.0
    """Worst-case time to cool below the touch limit, for when no thermometer can tell."""
    start_within_k: float = 2.0
    """Coil and ambient must be this close before the drive goes on."""


@dataclass(frozen=True, slots=True)
class Guard:
    """Guard band taken off each tolerance limit (JCGM 106:2012, 8.3.2).

    Either w = `factor` x U95 (0: none), or, with `factor` 0, as wide as a largest consumer's risk asks for:
    see `station.core.guard_band`.
    """

    factor: float = 1.0
    specific_risk: float | None = None
    """Largest probability that a unit read on the acceptance limit is out of tolerance."""
    global_risk: float | None = None
    """Largest share of all units that are out of tolerance and accepted, for the process stated."""
    process_mean: float | None = None
    process_deviation: float | None = None
    """Of the true values, normal; in the characteristic's unit."""

    @property
    def by_risk(self) -> bool:
        """Tell whether a risk says how wide it is."""
        return self.specific_risk is not None or self.global_risk is not None

    @property
    def whole(self) -> bool:
        """Tell whether it is as wide as U95 or wider: then a unit that passes is inside with 97.5 % or more."""
        return self.factor >= 1.0 or (self.specific_risk is not None and self.specific_risk <= 0.025)


@dataclass(frozen=True, slots=True)
class Characteristic:
    """A quantity that is judged. Limits in the unit of `unit_symbol`, SI unscaled; None: no limit there."""

    name: str
    unit_symbol: str
    method: str
    lower: float | None = None
    upper: float | None = None
    lower_included: bool = True
    upper_included: bool = True
    guard: Guard = Guard()


@dataclass(frozen=True, slots=True)
class Interval:
    """An interval in ISO 80000-2 notation: `[a, b)`. None: unbounded on that side."""

    lower: float | None
    upper: float | None
    lower_included: bool = True
    upper_included: bool = False


class BinFor(StrEnum):
    """Which decision a bin takes."""

    PASS = "PASS"
    FAIL = "FAIL"
    HOLD = "HOLD"
    """Everything else: INVALID, and what no other bin takes. Exactly one bin of a plan."""


@dataclass(frozen=True, slots=True)
class Bin:
    """A numbered place. `needs` maps a characteristic to its interval, or to None for "not due"."""

    number: int
    name: str
    takes: BinFor = BinFor.PASS
    needs: tuple[tuple[str, Interval | None], ...] = ()


@dataclass(frozen=True, slots=True)
class SetPlan:
    """Matched sets: how many units, and how closely they agree."""

    size: int
    tolerances: tuple[tuple[str, str], ...]
    """(characteristic, how closely: `1 %` of the smallest, or `0.1 uH`)."""


@dataclass(frozen=True, slots=True)
class TrayPlan:
    """Units go into trays, each into a pocket that is put on record."""

    pockets: int
    """Of one tray."""


@dataclass(frozen=True, slots=True)
class PanelPlan:
    """Where the units of a panel lie: their serials follow from the panel's."""

    rows: tuple[str, ...]
    columns: tuple[str, ...]
    unit_labels: bool = True
    """Each unit has a code of its own, which is scanned. False: only the panel has one."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A control plan, complete and free of mistakes."""

    part: str
    title: str
    serial_pattern: str
    serial_length_limit: int
    check_digit: str
    """`` (none) or `iso7064-mod37-2`, `luhn`."""
    coil: CoilDesign
    steps: tuple[MethodStep, ...]
    characteristics: tuple[Characteristic, ...]
    bins: tuple[Bin, ...]
    winding_constant_k: float = 234.5
    """Copper: alpha20 = 1 / (k + 20)."""
    invalid_runs_before_held: int = 3
    retest_agreement_fraction: float = 0.01
    """A repeat whose R20 and L differ by more than this (plus U) from the earlier run is held."""
    fixture: str = ""
    """What the fixture's identity must begin with; empty: any fixture that the bench was verified with."""
    sets: SetPlan | None = None
    trays: TrayPlan | None = None
    panel: PanelPlan | None = None
    source_text: str = field(default="", repr=False)
    text_hash: str = ""
    """SHA-256 of `source_text`, hex."""

    def characteristic(self, name: str) -> Characteristic | None:
        """Return the characteristic called `name`, or None."""
        return next((each for each in self.characteristics if each.name == name), None)

    def bin_for(self, takes: BinFor) -> Bin | None:
        """Return the first bin that takes `takes`, or None."""
        return next((each for each in self.bins if each.takes is takes), None)
