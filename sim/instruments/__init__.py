"""Simulated instruments: each speaks the bytes of `fixtures/dialects/README.md` from code of its own."""
