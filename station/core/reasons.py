"""Why a run or a characteristic is not PASS: one table of causes, each with its remedy for an operator.

A cause's `code` is stable and goes on record; its words may be improved. Whoever finds a cause calls
`reason("no_reply", instrument="lcr-1", message=str(error))`: details are added to the words as they are.
"""

import difflib
from dataclasses import dataclass

from station.core.results import Reason


@dataclass(frozen=True, slots=True)
class Cause:
    """One row of the table. `words` say what happened, `remedy` what the person at the nest does next."""

    words: str
    remedy: str


_RESEAT = "Unload, look at the pads and the contacts, load again and scan again."
_CALL = "Set the unit aside and call the engineer."

CAUSES: dict[str, Cause] = {
    # Contact
    "contact_open": Cause("a pad has no contact", _RESEAT),
    "contact_poor": Cause("the contact resistance at a pad is too high", _RESEAT),
    "contact_not_checked": Cause(
        "this fixture can't prove contact, so an open coil can't be told from a bad seat", _RESEAT
    ),
    "coil_open": Cause("the coil is open although its pads have contact", _RESEAT),
    "contact_changed": Cause("the contact changed during the run", _RESEAT),
    # The unit in the nest
    "nest_empty": Cause("the nest is empty", "Load the unit, then scan it again."),
    "nest_not_empty": Cause(
        "the nest was not seen empty since the last run, so this may still be the unit before",
        "Unload the nest, then load the scanned unit.",
    ),
    "unit_changed": Cause("the unit was moved or changed during the run", _RESEAT),
    "guard_open": Cause("the guard of the fixture is open", "Close the guard, then scan again."),
    # Instruments and links
    "overload": Cause("the reading is beyond the instrument's range", _RESEAT),
    "not_a_number": Cause("the instrument says that it has no number", _RESEAT),
    "no_reply": Cause("an instrument did not reply in time", "Check its power and cable, then scan again."),
    "garbled_reply": Cause("an instrument's reply was damaged", "Check its cable, then scan again."),
    "out_of_step": Cause("an instrument's replies can't be matched to the questions", "Scan the unit again."),
    "link_not_open": Cause(
        "an instrument can't be reached",
        "Check its power, cable and address; close other programs that use it.",
    ),
    "link_closed": Cause(
        "the connection to an instrument was lost", "Check its power and cable, then scan again."
    ),
    "wrong_instrument": Cause(
        "another instrument than the bench file names answers",
        "Call the engineer: check the cables and the bench file.",
    ),
    "instrument_reported": Cause(
        "an instrument reports an error", "Read its display; call the engineer if it stays."
    ),
    "not_as_set": Cause(
        "an instrument is not set as it was told", "Scan the unit again; call the engineer if it stays."
    ),
    "readings_jump": Cause("readings of the same quantity differ by far more than noise", _RESEAT),
    "instrument_missing": Cause(
        "the plan needs an instrument that this bench doesn't have",
        "Call the engineer: use another bench or plan.",
    ),
    "not_covered": Cause(
        "the bench file states no accuracy for this reading", "Call the engineer: complete the bench file."
    ),
    # Route, stage and drive
    "route_not_made": Cause("the fixture did not make the route", "Call the engineer: check the fixture."),
    "height_not_reached": Cause(
        "the field sensor did not reach its height", "Look for something in the way, then scan again."
    ),
    "drive_not_as_set": Cause(
        "the drive is not what was set", "Scan the unit again; call the engineer if it stays."
    ),
    "drive_not_off": Cause(
        "the drive could not be verified as off: the coil may be hot and live",
        "Do not touch the coil. Switch the source off by hand, then call the engineer.",
    ),
    "bench_refused": Cause("the bench is not in a state to measure", "Put that right, then scan again."),
    "drive_dropped": Cause(
        "the fixture dropped the drive by itself", "Scan the unit again; call the engineer if it stays."
    ),
    "hand_stop": Cause("the hand-operated stop is pressed", "Look why, release the stop, then scan again."),
    "bench_latched": Cause(
        "the state of the drive is unknown and the bench is latched", "Call the engineer to clear it."
    ),
    # Heating
    "nobody_watches": Cause(
        "this bench has neither watchdog nor dead-man, so nothing is heated above the touch limit",
        "Call the engineer: use another bench.",
    ),
    "hot_not_kept": Cause(
        "it can't be put on disk that the nest will be hot, so the drive stays off",
        "Call the engineer: the disk may be full.",
    ),
    "nest_hot": Cause("the nest is hot", "Do not touch it. See whether the source is off, then scan again."),
    "not_at_ambient": Cause(
        "coil and ambient are not at the same temperature", "Leave the unit in the nest, then scan it again."
    ),
    "bench_too_coarse": Cause(
        "this bench can't tell the rise as exactly as the plan wants it",
        "Call the engineer: use another bench or plan.",
    ),
    "too_hot": Cause(
        "the coil reached the plan's temperature limit", "Do not touch the coil until the nest is released."
    ),
    "level_above_limit": Cause(
        "the next drive level was left out: it is foretold to pass the plan's temperature limit",
        "Set the unit aside and call the engineer.",
    ),
    "power_above_limit": Cause("the power passed the plan's limit", _CALL),
    "resistance_unlike": Cause(
        "the resistance over the source's route is not that of a coil of this plan",
        "Look whether one unit lies in the nest, and whether its pads are clean; scan again.",
    ),
    "resistance_jumps": Cause("the resistance jumped while the coil was heated: a short or a loose contact", _RESEAT),
    "resistance_falls": Cause("the resistance fell while the coil was heated", _RESEAT),
    "resistance_idle": Cause(
        "the thermometer shows heat, but the resistance does not", "Scan again; call the engineer if it stays."
    ),
    "clock_stalled": Cause("the station's time stood still or jumped with the drive on", _CALL),
    "thermometer_idle": Cause(
        "the thermometer near the coil does not follow the winding",
        "Look whether it lies on the coil, and whether its plug is right.",
    ),
    "thermometer_reversed": Cause(
        "the thermometer near the coil falls while the winding heats", "Turn its plug round; call the engineer."
    ),
    "thermometers_swapped": Cause(
        "the ambient's thermometer follows the winding, the coil's does not", "Exchange their plugs."
    ),
    # Readings that can't be trusted
    "not_still": Cause(
        "the resistance did not hold still: the unit is not yet at the temperature of the nest",
        "Leave the unit in the nest for a minute without touching it, then scan again.",
    ),
    "frozen_reading": Cause(
        "a reading repeats to the last digit: the instrument may be stuck",
        "Scan again; call the engineer if it stays.",
    ),
    "sensor_open": Cause(
        "a temperature sensor is open or unplugged", "Check the sensor's plug, then scan again."
    ),
    "sensor_dead": Cause(
        "the field sensor does not follow the drive",
        "Check the sensor's plug; call the engineer if it stays.",
    ),
    "polarity_reversed": Cause(
        "the field has the wrong sign", "Look whether the unit lies upside down, then scan again."
    ),
    "spacer_missing": Cause(
        "this fixture has no stage, and no spacer was confirmed", "Place the spacer asked for and confirm it."
    ),
    "thermometers_disagree": Cause(
        "the thermometer near the coil and the ambient's are too far apart",
        "Wait until the nest is at room temperature; check both sensors.",
    ),
    "temperature_range": Cause(
        "the temperature is out of range", "Wait until the unit and the nest are at room temperature."
    ),
    "height_offset": Cause(
        "the field profile says that the height is off",
        "Clean the nest and seat the unit flat, then scan again.",
    ),
    "lateral_error": Cause(
        "the field profile says that the coil is off centre",
        "Seat the unit against its stops, then scan again.",
    ),
    "profile_poor": Cause(
        "the field does not follow the coil's profile",
        "Look for metal or a magnet near the nest, then scan again.",
    ),
    "not_measured": Cause("there is no value", "Scan the unit again."),
    "uncertainty_too_large": Cause(
        "the uncertainty leaves no room between the limits",
        "Call the engineer: the bench can't judge this limit.",
    ),
    "imported": Cause(
        "readings from a file carry no decision of ours", "Measure the unit here to have it judged."
    ),
    "nothing_judged": Cause(
        "nothing was judged", "Call the engineer: check the plan's limits and frequencies."
    ),
    # How a run ended
    "stopped": Cause("the run was stopped by hand", "Scan the unit again when ready."),
    "station_stopped": Cause("the station stopped during the run", "Scan the unit again."),
    "station_error": Cause("the station itself made an error", _CALL),
    "watchdog_gone": Cause(
        "the watchdog of the drive ended", "Restart the station, then scan the unit again."
    ),
    "record_failed": Cause(
        "the run could not be recorded", "Keep the unit; call the engineer before going on."
    ),
    # Gates: what must hold before a run may give PASS
    "not_production": Cause("only a production run may give pass", "Scan the unit again in production."),
    "not_verified": Cause("the bench is not verified", "Run the reference units, then scan again."),
    "verification_failed": Cause(
        "the last verification of the bench failed", "Call the engineer; then run the reference units."
    ),
    "verification_expired": Cause(
        "the verification of the bench has expired", "Run the reference units, then scan again."
    ),
    "verification_used_up": Cause(
        "as many units were measured as one verification is good for",
        "Run the reference units, then scan again.",
    ),
    "other_fixture": Cause(
        "the bench was verified with another fixture", "Run the reference units with this fixture."
    ),
    "wrong_fixture": Cause(
        "the plan needs another fixture", "Fit the fixture that the plan names, then run the reference units."
    ),
    "fixture_serviced": Cause(
        "the fixture was cleaned or got other probes since the last verification",
        "Run the reference units, then scan again.",
    ),
    "probes_worn": Cause(
        "the probes have made as many contacts as they may",
        "Change them and enter it (coilgate bench cleaned --probes-changed), then run the reference units.",
    ),
    "other_plan": Cause(
        "the bench was verified with another revision of the plan", "Run the reference units, then scan again."
    ),
    "other_part": Cause("the bench was verified for another part", "Run the reference units of this part."),
    "plan_not_released": Cause("the plan is not released", "Call the engineer to release it."),
    "calibration_overdue": Cause("an instrument's calibration is overdue", "Call the engineer."),
    # Limits and repeats: about the unit
    "below_lower": Cause("below the lower limit", "Put the unit into its bin."),
    "above_upper": Cause("above the upper limit", "Put the unit into its bin."),
    "retest_disagrees": Cause("a repeat does not agree with the earlier run of this unit", _CALL),
    "too_many_invalid": Cause("too many runs of this unit gave no measurement", _CALL),
}


ABOUT_THE_SEAT = frozenset(
    {
        "contact_open",
        "contact_poor",
        "contact_not_checked",
        "contact_changed",
        "coil_open",
        "unit_changed",
        "overload",
        "not_still",
        "polarity_reversed",
        "height_offset",
        "lateral_error",
        "profile_poor",
    }
)
"""Causes that lie with how the unit sits or what it is: too many of them hold the unit. A meter's pulled plug
says nothing about the unit."""


def reason(code: str, **details: object) -> Reason:
    """Return the Reason of a cause.

    Details are added to its words as "name value", in the order given; a detail called `message` is added as
    it stands. Raises ValueError for a code that the table doesn't have: that is a slip in the program.
    """
    cause = CAUSES.get(code)
    if cause is None:
        near = difflib.get_close_matches(code, CAUSES, n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise ValueError(f"there is no cause {code!r} in station/core/reasons.py{hint}")
    said = [
        str(text) if name == "message" else f"{name.replace('_', ' ')} {text}"
        for name, text in details.items()
    ]
    return Reason(code, cause.words + (": " + "; ".join(said) if said else ""), cause.remedy)
