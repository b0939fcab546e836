"""Settings that hold for every test."""

import hypothesis

# Derandomised: the same examples every time, so that a red build can be repeated from its log.
hypothesis.settings.register_profile("ci", derandomize=True, deadline=None, print_blob=True)
hypothesis.settings.register_profile("long", derandomize=False, deadline=None, max_examples=2_000)
hypothesis.settings.load_profile("ci")
