"""uvicorn's protocol with an end to its patience, which it has none of: a deadline for each request and answer."""

import asyncio
from typing import Any

from h11 import DONE, IDLE
from uvicorn.protocols.http.h11_impl import H11Protocol

ANSWER_SECONDS = 120.0  # in which an answer must have been taken


class Patient(H11Protocol):
    """A connection that is cut where a request or the taking of its answer lasts too long."""

    request_seconds = 10.0
    deadline: asyncio.TimerHandle | None = None
    whole = False  # the request that is being answered has come in

    def connection_made(self, transport: Any) -> None:
        """Wait for a request, but not for ever."""
        super().connection_made(transport)
        self._within(self.request_seconds)

    def data_received(self, data: bytes) -> None:
        """Take in a piece of a request; once it is whole, its answer has more time."""
        if self.deadline is None:
            self._within(self.request_seconds)
        super().data_received(data)
        if self.conn.their_state is DONE and self.deadline and not self.whole:
            self.whole = True
            self._within(ANSWER_SECONDS)

    def on_response_complete(self) -> None:
        """Rest until the next request; one whose body still comes has to hurry."""
        self._at_rest()
        super().on_response_complete()
        if self.conn.their_state not in (IDLE, DONE) and not self.transport.is_closing():
            self._within(self.request_seconds)

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing any more."""
        self._at_rest()
        super().connection_lost(exc)

    def _within(self, seconds: float) -> None:
        if self.deadline:
            self.deadline.cancel()
        self.deadline = self.loop.call_later(seconds, self.transport.abort)

    def _at_rest(self) -> None:
        if self.deadline:
            self.deadline.cancel()
        self.deadline, self.whole = None, False


def patient(seconds: float) -> type[asyncio.Protocol]:
    """The protocol with other patience for a request: `patient(0.5)`."""
    return type("Patient", (Patient,), {"request_seconds": seconds})
