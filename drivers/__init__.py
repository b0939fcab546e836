"""Links, clocks and drivers: intent into bytes, bytes into readings. Knows nothing of the station."""
