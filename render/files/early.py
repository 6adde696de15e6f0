"""What is said of Ctrl-C while our first modules load: one sentence, from our first line on, which needs only `sys`.

Before it Python itself begins, for a few hundredths of a second: there it answers its own way, and nothing of ours can.
"""

import sys

TYPE_CHECKING = False  # `typing` takes as long to load as all that comes before it
if TYPE_CHECKING:
    from types import TracebackType

INTERRUPTED = "interrupted; nothing half-written was left"
_usual = sys.excepthook


def loading() -> None:
    """Say in one sentence that we are told to end, as long as nothing can be tidied up."""
    sys.excepthook = _say


def loaded() -> None:
    """Leave the word to what has been loaded: `interrupts` hears signals by itself."""
    sys.excepthook = _usual


def _say(kind: type[BaseException], error: BaseException, trace: "TracebackType | None") -> None:
    if kind is not KeyboardInterrupt:
        _usual(kind, error, trace)
    elif sys.stderr:
        sys.stderr.write(f"fourlimb: {INTERRUPTED}\n")
