"""Suites that everything behind one of our interfaces must pass; run them on yours on its first day."""
