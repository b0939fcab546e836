"""The station's own composition."""
