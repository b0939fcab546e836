"""The gates: what must hold before a run may give PASS. Asked before it starts and when it is decided."""

from collections.abc import Iterable
from datetime import date, datetime

from station.core.equipment import Bench
from station.core.fixture_life import NO_LIFE, FixtureLife
from station.core.reasons import reason
from station.core.results import Reason
from station.core.run_record import Purpose
from station.core.verification import Verification


def gate(
    purpose: Purpose,
    *,
    verification: Verification | None,
    now_utc: datetime,
    units_since_verification: int,
    plan_released: bool,
    part: str,
    fixture_identity: str,
    calibration_overdue: Iterable[str] = (),
    fixture_required: str = "",
    life: FixtureLife = NO_LIFE,
    plan_hash: str = "",
) -> Reason | None:
    """Return why this run may not give PASS, or None if it may.

    Args:
        purpose: only production may give PASS.
        verification: the newest one of this bench and nest, verified or not.
        now_utc: aware time, from the clock; before the verification counts as expired (a clock set back).
        units_since_verification: units judged on it so far, this one not counted.
        plan_released: whether this very text of the plan is a released revision.
        part: of the plan.
        fixture_identity: what the fixture answers now.
        calibration_overdue: names of instruments past their due date (`overdue_instruments`).
        fixture_required: what the plan says that the fixture's identity must begin with; empty: nothing.
        plan_hash: of the plan's text; another revision may ask for what the reference units have not shown.
        life: how long the fixture's probes have served, and whether they were touched since the verification.
    """
    if purpose is not Purpose.PRODUCTION:
        return reason("not_production", purpose=purpose.value)
    if not plan_released:
        return reason("plan_not_released", part=part)
    overdue = ", ".join(calibration_overdue)
    if overdue:
        return reason("calibration_overdue", message=overdue)
    if not fixture_identity.startswith(fixture_required):
        return reason("wrong_fixture", message=f"{fixture_required}; this one is {fixture_identity or 'unknown'}")
    if life.replace_due:
        return reason("probes_worn", message=f"{life.probe_cycles} contacts")
    if verification is None:
        return reason("not_verified")
    if life.serviced_since_verification:
        return reason("fixture_serviced")
    if plan_hash and verification.plan_hash not in ("", plan_hash) and verification.part == part:
        return reason("other_plan", message=f"{verification.plan_hash[:12]}, this is {plan_hash[:12]}")
    return _verification_reason(verification, now_utc, units_since_verification, part, fixture_identity)


def _verification_reason(
    verification: Verification, now_utc: datetime, units: int, part: str, fixture_identity: str
) -> Reason | None:
    if not verification.verified:
        return reason("verification_failed", message=verification.words)
    if verification.part != part:
        return reason("other_part", message=f"{verification.part}, the plan is for {part}")
    if verification.fixture_identity != fixture_identity:
        return reason("other_fixture", message=f"{verification.fixture_identity}, now {fixture_identity}")
    if not verification.done_utc <= now_utc < verification.verified_until_utc:
        return reason(
            "verification_expired",
            message=f"valid until {verification.verified_until_utc:%Y-%m-%d %H:%M} UTC",
        )
    if units >= verification.unit_limit:
        return reason("verification_used_up", message=f"{units} of {verification.unit_limit} units")
    return None


def overdue_instruments(bench: Bench, today: date) -> tuple[str, ...]:
    """Return the names of instruments whose calibration was due before `today`."""
    return tuple(
        each.name
        for each in bench.instruments
        if each.calibration_due is not None and each.calibration_due < today
    )
