"""Property tests draw afresh on every local run, and the same examples each time in CI, so that CI says the same twice."""

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")
