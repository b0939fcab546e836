"""What is kept of every run, plan and verification. The only package that knows the database library.

Importing it is cheap; `Records.open` imports the rest.
"""

from station.records.repository import Records
from station.records.views import (
    AuditEntry,
    BinCount,
    ChainFault,
    ChainReport,
    ContactPoint,
    ExportColumn,
    FixtureService,
    Head,
    LastMeasured,
    LaterDecision,
    LotRows,
    LotSummary,
    LotValues,
    PastValue,
    PlanRevision,
    RunSummary,
    UnitState,
)

__all__ = [
    "AuditEntry",
    "BinCount",
    "ChainFault",
    "ChainReport",
    "ContactPoint",
    "ExportColumn",
    "FixtureService",
    "Head",
    "LastMeasured",
    "LaterDecision",
    "LotRows",
    "LotSummary",
    "LotValues",
    "PastValue",
    "PlanRevision",
    "Records",
    "RunSummary",
    "UnitState",
]
