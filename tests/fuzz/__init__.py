"""Hostile input at every door: whatever comes in ends in a value or in one clear error."""
