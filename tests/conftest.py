"""What several modules of tests share: a browser.

Property tests draw afresh on every local run, and the same examples each time in CI, so that CI says the same twice."""

import os
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")


@pytest.fixture(scope="module")
def chrome() -> Iterator[Any]:
    """Chromium for a module's tests; imported here, since most modules need none."""
    from page_browser import chromium

    with chromium() as running:
        yield running
