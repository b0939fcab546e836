"""Predicts the steady rise of a heated coil while its curve still climbs, and says when that may be believed."""
