"""What is measured on copper, a row a place: widths along a unit's track, coupon tracks of a panel, sections.

Rows are what goes on record, as they were entered; nothing is worked out here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar, TypeAlias


class CopperKind(StrEnum):
    """What kind of rows an entry has."""

    WIDTHS = "widths"
    COUPONS = "coupons"
    SECTIONS = "sections"


@dataclass(frozen=True, slots=True)
class WidthRow:
    """The track's width at one place of a unit. layer: 1 on top; turn: 1 innermost. u_m: standard uncertainty.

    top_m, foot_m, width_m: of the top, of the foot, mean of the cross-section; one of them at least. pitch_m: centre to
    centre of neighbouring turns.
    """

    kind: ClassVar = CopperKind.WIDTHS
    serial: str
    layer: int
    turn: float
    u_m: float
    top_m: float | None = None
    foot_m: float | None = None
    width_m: float | None = None
    pitch_m: float | None = None

    @property
    def subject(self) -> str:
        """The serial."""
        return self.serial


@dataclass(frozen=True, slots=True)
class CouponRow:
    """One coupon track of a panel: drawn width, length between sense taps, four-wire resistance, temperature, standard
    uncertainty. near: serial of the unit beside it, for plating differs over a panel."""

    kind: ClassVar = CopperKind.COUPONS
    panel: str
    width_m: float
    length_m: float
    resistance_ohm: float
    temperature_degc: float
    u_ohm: float
    coupon: str = ""
    near: str = ""

    @property
    def subject(self) -> str:
        """The panel."""
        return self.panel


@dataclass(frozen=True, slots=True)
class SectionRow:
    """Copper in a micro-section: of a unit (serial), or of its panel. Where widths were read too: layer, turn."""

    kind: ClassVar = CopperKind.SECTIONS
    thickness_m: float
    u_m: float
    serial: str = ""
    panel: str = ""
    layer: int | None = None
    turn: float | None = None
    top_m: float | None = None
    foot_m: float | None = None

    @property
    def subject(self) -> str:
        """The serial, or else the panel."""
        return self.serial or self.panel


Row: TypeAlias = WidthRow | CouponRow | SectionRow

_CLASSES: dict[CopperKind, type[WidthRow] | type[CouponRow] | type[SectionRow]] = {
    CopperKind.WIDTHS: WidthRow,
    CopperKind.COUPONS: CouponRow,
    CopperKind.SECTIONS: SectionRow,
}


def as_entry(row: Row) -> dict[str, object]:
    """Return a row as it goes on record: fields that are empty are left out."""
    fields = {name: getattr(row, name) for name in row.__slots__}
    return {name: value for name, value in fields.items() if value is not None and value != ""}


def from_entry(kind: CopperKind, entry: Mapping[str, object]) -> Row:
    """Return a row from what is on record. Raises TypeError for fields that a newer version knows."""
    return _CLASSES[kind](**entry)  # type: ignore[arg-type]
