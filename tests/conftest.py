"""What several modules of tests share: a browser, and a lesson page on a desk's screen.

Property tests draw afresh on every local run, and the same examples each time in CI, so that CI says the same twice."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does: the tests already share the cores
settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")


@pytest.fixture(scope="module")
def chrome() -> Iterator[Any]:
    """Chromium for a module's tests; imported here, since most modules need none."""
    from page_browser import chromium

    with chromium() as running:
        yield running


@pytest.fixture(scope="module")
def kit() -> Any:
    """The bundled soundfont's kit and its balance."""
    from page_browser import kit_and_balance

    return kit_and_balance()


@pytest.fixture(scope="module")
def html(kit: Any) -> str:
    """The page of a lesson of four bars."""
    from music import lesson_of
    from page_browser import LINE, html_of

    return html_of(lesson_of(LINE, tempo=132), *kit)


@pytest.fixture
def sheet(chrome: Any, html: str, tmp_path: Path) -> Iterator[Any]:
    """That page, opened."""
    from page_browser import opened

    with opened(chrome, html, tmp_path, viewport={"width": 1280, "height": 800}) as found:
        yield found
        assert found.errors == []


LONG = {"test_batch", "test_cli", "test_fuzz", "test_interrupts"}  # they wait for processes


def pytest_collection_modifyitems(items: list[Any]) -> None:
    """Begin with the modules that take long or make something for all their tests: the rest fills the end evenly."""
    long = LONG | {item.module.__name__ for item in items if _shares(item)}
    items.sort(key=lambda item: item.module.__name__ not in long)


def _shares(item: Any) -> bool:
    """Whether a test needs what is made once for its module."""
    found = item._fixtureinfo.name2fixturedefs.values()
    return any(one.scope == "module" for fixtures in found for one in fixtures)
