"""The columns of an export and what each holds: `coilgate records columns` shows it, Parquet carries it."""

from station.records.views import ExportColumn

FIXED = (
    ExportColumn("serial", "text", "the unit"),
    ExportColumn("lot", "text", "its lot, as the serial says"),
    ExportColumn("panel", "text", "its panel, as the serial says; empty if it doesn't"),
    ExportColumn("row", "text", "its row on the panel, as the serial says; empty if it doesn't"),
    ExportColumn("column", "text", "its column on the panel, as the serial says; empty if it doesn't"),
    ExportColumn("part", "text", "the part that it was measured as"),
    ExportColumn("decision", "text", "PASS, FAIL or INVALID (not measured): the latest one on this run"),
    ExportColumn("bin_number", "whole", "the bin that it goes into"),
    ExportColumn("bin_name", "text", "the bin's name"),
    ExportColumn("held", "flag", "whether the unit is held now"),
    ExportColumn("tray", "text", "the tray that it lies in now; empty: in none on record"),
    ExportColumn("pocket", "whole", "the pocket of that tray, from 1"),
    ExportColumn("concession", "text", "the deviation permit or concession that accepts it; decision is FAIL then"),
    ExportColumn("reason_code", "text", "why it is not PASS, as a code; empty if it is"),
    ExportColumn("reason_words", "text", "why it is not PASS, in words; empty if it is"),
    ExportColumn("purpose", "text", "production, engineering, verification, study or imported"),
    ExportColumn("simulated", "flag", "whether simulated instruments measured"),
    ExportColumn("run_id", "text", "the run (UUID version 7)"),
    ExportColumn("repeats_run_id", "text", "the earlier run of the unit that this one repeats; empty: none"),
    ExportColumn("opened_utc", "text", "when the run began: ISO 8601, UTC"),
    ExportColumn("closed_utc", "text", "when it ended: ISO 8601, UTC"),
    ExportColumn("bench", "text", "the bench that measured"),
    ExportColumn("nest", "text", "the nest on it"),
    ExportColumn("operator", "text", "badge code"),
    ExportColumn("plan_hash", "text", "SHA-256 of the control plan's text, hexadecimal"),
    ExportColumn("verification_id", "text", "the bench's verification that the run stands on; empty: none"),
    ExportColumn("software_version", "text", "of the station"),
)
"""Of each row, in this order. Any cell may be empty."""


def characteristic_columns(characteristic: str, unit_symbol: str, *, with_u: bool = False) -> tuple[ExportColumn, ...]:
    """Return the columns of one characteristic; they follow the fixed ones, in order of its name.

    `with_u`: also its standard uncertainty and degrees of freedom, which a replay under another plan needs.
    """
    usual = (
        ExportColumn(
            f"{characteristic} [{unit_symbol}]", "number", "corrected value, SI unscaled; empty if not measured"
        ),
        ExportColumn(
            f"U95({characteristic}) [{unit_symbol}]", "number", "its expanded uncertainty (95 %), SI unscaled"
        ),
        ExportColumn(
            f"{characteristic} [{unit_symbol}] decision", "text", "PASS, FAIL or INVALID; empty if it was not judged"
        ),
    )
    if not with_u:
        return usual
    return (
        *usual,
        ExportColumn(
            f"u({characteristic}) [{unit_symbol}]", "number", "its standard uncertainty, SI unscaled"
        ),
        ExportColumn(
            f"{characteristic} [{unit_symbol}] degrees of freedom", "number", "effective, of its standard uncertainty"
        ),
    )
