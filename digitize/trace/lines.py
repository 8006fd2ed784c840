"""Connections of the local network: how many there may be at once, and how long each may keep us waiting.

uvicorn waits without end for a request that never comes, or comes a letter at a time, and for an answer that nobody
reads; on this machine alone that harms nobody. From the network each connection is closed when it keeps us waiting too
long, whatever it has sent, and those beyond the number are closed at once. This machine's own are neither counted nor
timed, so that nobody in the network can keep the person from their own page. How long a request's body may take is
`server.py`'s, which can say so.
"""

import asyncio
from collections import Counter
from dataclasses import dataclass

from uvicorn.protocols.http.h11_impl import H11Protocol

from digitize.trace.addresses import HERE


@dataclass(frozen=True)
class Patience:
    """What is allowed. A browser opens six connections to a page."""

    of_one: int = 16
    of_all: int = 64
    request_s: float = 15.0  # from the connection, or the last answer, to a whole head of a request
    answer_s: float = 60.0  # for a piece of an answer to be taken
    ending_s: float = 2.0  # for what is under way when the program ends


class Lines:
    """Not a value: it counts. `protocol` is what uvicorn makes of each connection; itself it is ASGI middleware, the
    outermost, that tells when a request has come and when it is answered."""

    def __init__(self, app, patience: Patience | None = None):
        self.app, self.patience = app, patience or Patience()
        self.open: dict[tuple, _Line] = {}
        self.count = Counter()

    @property
    def protocol(self) -> type[H11Protocol]:
        return type("Line", (_Line,), {"lines": self})

    async def __call__(self, scope, receive, send):
        line = self.open.get((scope.get("client"), scope.get("server")))
        if line is None:
            await self.app(scope, receive, send)
            return

        async def sending(message):
            line.wait(self.patience.answer_s)
            await send(message)
            line.wait(None)

        line.wait(None)
        try:
            await self.app(scope, receive, sending)
        finally:
            line.wait(self.patience.request_s)

    def admit(self, line: "_Line") -> bool:
        peer = line.client[0]
        if self.count[peer] >= self.patience.of_one or self.count.total() >= self.patience.of_all:
            return False
        self.count[peer] += 1
        self.open[line.client, line.server] = line
        return True

    def gone(self, line: "_Line") -> None:
        if self.open.pop((line.client, line.server), None) is None:
            return
        self.count[line.client[0]] -= 1
        self.count += Counter()  # those at nought are let go


class _Line(H11Protocol):
    """A connection; one of the network has a clock."""

    lines: Lines
    clock: asyncio.TimerHandle | None = None

    def connection_made(self, transport) -> None:
        super().connection_made(transport)
        if self.server is None or self.server[0] == HERE:
            return
        if self.client is None or not self.lines.admit(self):
            transport.abort()
            return
        self.wait(self.lines.patience.request_s)

    def connection_lost(self, exc) -> None:
        self.wait(None)
        self.lines.gone(self)
        super().connection_lost(exc)

    def shutdown(self) -> None:
        super().shutdown()
        self.loop.call_later(self.lines.patience.ending_s, self.transport.abort)

    def wait(self, seconds: float | None) -> None:
        """From now on so long; None: as long as it takes."""
        if self.clock is not None:
            self.clock.cancel()
        closed = self.transport.is_closing() or seconds is None
        self.clock = None if closed else self.loop.call_later(seconds, self.transport.abort)
