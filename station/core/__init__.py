"""Plan, limits, decisions, bins, events, run record: pure data and functions, no input or output."""
