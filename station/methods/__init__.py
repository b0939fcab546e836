"""How things are measured: contact, resistance, inductance, field. Each method asks capabilities, not models."""
