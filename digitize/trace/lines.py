"""Connections of the local network: how many there may be at once, and how long each may keep us waiting.

uvicorn waits without end for a request that never comes, or comes a letter at a time, and for an answer that nobody
reads; on this machine alone that harms nobody. From the network each connection is closed when it keeps us waiting too
long, whatever it has sent, and those beyond the number are closed at once. This machine's own are neither counted nor
timed, so that nobody in the network can keep the person from their own page. How long a request's body may take is
`server.py`'s, which can say so.
"""

import asyncio
import socket
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from uvicorn.protocols.http.h11_impl import H11Protocol

from digitize.trace.addresses import HERE

SENDING_BYTES = 128 * 1024


@dataclass(frozen=True)
class Patience:
    """What is allowed. A browser opens six connections to a page."""

    of_one: int = 16
    of_strangers: int = 64
    request_s: float = 15.0  # from the connection, or the last answer, to a whole head of a request
    answer_s: float = 60.0  # for a piece of an answer to be taken
    ending_s: float = 2.0  # for what is under way when the program ends


class Lines:
    """Not a value: it counts. `protocol` is what uvicorn makes of each connection; itself it is ASGI middleware, the
    outermost, that tells when a request has come and when it is answered."""

    def __init__(self, app, known: Callable[[str], bool], patience: Patience | None = None):
        """known: whether that address has come in by the right token before; strangers can't take its room."""
        self.app, self.known, self.patience = app, known, patience or Patience()
        self.open: dict[tuple, _Line] = {}
        self.count: Counter[str] = Counter()

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
        if line.client is None:
            return False
        peer = line.client[0]
        of_strangers = sum(n for each, n in self.count.items() if not self.known(each))
        full = of_strangers >= self.patience.of_strangers and not self.known(peer)
        if full or self.count[peer] >= self.patience.of_one:
            return False
        self.count[peer] += 1
        self.open[line.client, line.server] = line
        return True

    def gone(self, line: "_Line") -> None:
        if line.client is None or self.open.pop((line.client, line.server), None) is None:
            return
        self.count[line.client[0]] -= 1
        self.count += Counter()  # those at nought are let go


class _Line(H11Protocol):
    """A connection; one of the network has a clock."""

    lines: Lines
    clock: asyncio.TimerHandle | None = None
    lost = False
    unread: int | None = None  # bytes of an answer that were not taken when the clock last rang

    def connection_made(self, transport) -> None:
        super().connection_made(transport)
        if self.server is None or self.server[0] == HERE:
            return
        if not self.lines.admit(self):
            transport.abort()
            return
        # so that what is taken shows here soon, and doesn't vanish into the system's buffer by the megabyte
        transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SENDING_BYTES)
        self.wait(self.lines.patience.request_s)

    def connection_lost(self, exc) -> None:
        self.lost = True
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
        self.unread = None
        self.clock = None if self.lost or seconds is None else self.loop.call_later(seconds, self._late)

    def _late(self) -> None:
        """An answer that is still being read has its time; all else is over."""
        before, self.unread = self.unread, self.transport.get_write_buffer_size()
        if self.unread and (before is None or self.unread < before):
            self.clock = self.loop.call_later(self.lines.patience.answer_s, self._late)
        else:
            self.transport.abort()
