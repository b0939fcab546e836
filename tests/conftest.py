"""Settings that hold for every test."""

import os

import hypothesis

# Derandomised: the same examples every time, so that a red build can be repeated from its log.
hypothesis.settings.register_profile("ci", derandomize=True, deadline=None, print_blob=True)
# At night other examples each time, many of them; what fails is printed so that it can be repeated.
hypothesis.settings.register_profile("long", derandomize=False, deadline=None, print_blob=True, max_examples=2_000)
hypothesis.settings.load_profile("long" if os.environ.get("COILGATE_NIGHTLY") else "ci")
