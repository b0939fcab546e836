"""Units of a lot on record that a gauge study should have."""

from dataclasses import dataclass

from station.errors import RecordError
from station.quality.study_units import units_over_spread
from station.records import Records
from station.records.standing import lot_standing


@dataclass(frozen=True, slots=True)
class ChosenUnits:
    """Serials in order of value, and of which population they were chosen."""

    serials: tuple[str, ...]
    population: str


def choose_units(records: Records, lot: str, characteristic: str, count: int) -> ChosenUnits:
    """Return units of a lot that spread in a characteristic as the lot does.

    Of those that pass, are not held, scrapped or shipped: they are at hand, and one with a defect would spread the
    study wider than production. Raises RecordError for an unknown lot, and for too few of them with a value.
    """
    standing, life = lot_standing(records, lot), records.lot_life(lot)
    free = standing.passed - life.scrapped - life.closed_units
    found = records.lot_values(lot, characteristic)
    pairs = [
        (serial, value) for serial, value in zip(found.serials, found.values.tolist(), strict=True) if serial in free
    ]
    try:
        chosen = units_over_spread([value for _, value in pairs], count)
    except ValueError:
        raise RecordError(
            f"lot {lot}: {len(pairs)} units pass, are at hand and have a value of {characteristic}; a study of {count} "
            "needs as many. Measure more, look at the name, or ask for fewer (2 at least)."
        ) from None
    population = (
        f"{len(pairs)} units of lot {lot} that pass, are not held, scrapped or shipped, "
        f"with a value of {characteristic}"
    )
    return ChosenUnits(tuple(pairs[place][0] for place in chosen), population)
