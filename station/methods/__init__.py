"""How things are measured: contact, resistance, inductance, field. Methods ask capabilities."""
