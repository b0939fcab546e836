"""What findings on copper are held against: a lot's drawing, its units and panels. Coupons come with the boards, so a
lot that was received is known by its part's plan before the first unit is measured."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from station.app.causes import drawn_by
from station.coil.geometry import CoilGeometry
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.scans import group_end
from station.core.serials import read_serial
from station.errors import RecordError, SerialError
from station.records import Records
from station.records.lot_findings import lot_findings, lot_plan_hash


@dataclass(frozen=True, slots=True)
class CopperLot:
    """A lot as far as its copper is concerned. seen_ohm: R20 by serial of its units on record, NaN where none.

    whole: every unit of it is on record, so that no panel can be of it that none of them is of.
    """

    lot: str
    plan: Plan
    coil: CoilGeometry
    seen_ohm: Mapping[str, float]
    panel_of: Mapping[str, str]
    whole: bool

    def require_panel(self, panel: str) -> None:
        """Raise RecordError for a panel that the lot does not have, or that can't be a panel's name."""
        known = sorted(set(self.panel_of.values()))
        if panel in known:
            return
        if self.whole:
            raise RecordError(f"panel {panel}: not in lot {self.lot}. It has {', '.join(known[:20])}.")
        end = group_end(self.plan.serial_pattern, "panel")
        pattern = "" if end is None else self.plan.serial_pattern[self.plan.serial_pattern.find("(?P<panel>") : end]
        if pattern and re.fullmatch(pattern, panel) is None:
            raise RecordError(f"panel {panel}: no panel of {self.plan.part} is named so; its serials have {pattern}.")

    def require_near(self, panel: str, serial: str) -> None:
        """Raise RecordError for a serial that is no unit of a panel."""
        found = self.panel_of.get(serial)
        if found is None and not self.whole:
            try:
                unit = read_serial(self.plan, serial, lot=self.lot)
            except SerialError as error:
                raise RecordError(f"coupon of panel {panel}: {error}") from error
            found = unit.panel
        if found != panel:
            raise RecordError(f"coupon of panel {panel}: {serial} is no unit of that panel.")


def copper_lot(records: Records, lot: str, *, part: str = "") -> CopperLot:
    """Return a lot with its drawing: by the plan of its latest run, or else by the newest released one of its part.

    part: of a lot that nothing is on record of yet. Raises RecordError for a lot of which neither is known, another
    part than the lot's, or a plan that is not on record.
    """
    life, known = records.lot_life(lot), lot in records.lots()
    plan = _plan_of_runs(records, lot) if known else None
    plan = plan or _plan_of_part(records, lot, life.part, part)
    if part and part != plan.part:
        raise RecordError(f"lot {lot} is of part {plan.part}, not {part[:40]}.")
    found = lot_findings(records, lot, ("R20",)) if known else None
    serials = found.serials if found else ()
    return CopperLot(
        lot,
        plan,
        drawn_by(plan).coil,
        dict(zip(serials, found.values["R20"].tolist(), strict=True)) if found else {},
        dict(zip(serials, found.panels, strict=True)) if found else {},
        whole=bool(serials) and (life.received or 0) <= len(serials),
    )


def _plan_of_runs(records: Records, lot: str) -> Plan | None:
    plan_hash = lot_plan_hash(records, lot)
    if not plan_hash:
        return None
    text = records.plan_text(plan_hash)
    if text is None:
        raise RecordError(f"{lot}: the plan of its run is not on record, so its drawing is not known.")
    return parse_plan(text, f"plan {plan_hash[:12]}")


def _plan_of_part(records: Records, lot: str, received_as: str, part: str) -> Plan:
    if received_as and part and part != received_as:
        raise RecordError(f"lot {lot} is of part {received_as}, not {part[:40]}.")
    name = received_as or part
    if not name:
        raise RecordError(
            f"lot {lot}: no unit of it was measured yet, and of what part it is is not on record. Say it: --part PART, "
            f"or receive the lot: coilgate lot receive {lot} --part PART --quantity N --who BADGE"
        )
    for each in records.released_plans():
        if each.part == name:
            return parse_plan(each.source_text, f"{name} revision {each.revision}")
    raise RecordError(f"lot {lot}: no plan of part {name[:40]} is released, so its drawing is not known.")
