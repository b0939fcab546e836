"""Statistics of gauges and decisions."""
