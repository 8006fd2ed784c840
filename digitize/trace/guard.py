"""What no request passes without: the right host, origin and token. Nothing of another site reaches the page.

On this machine's own address a page elsewhere could still send requests (or point its own name at it), so the Host must
be this machine's own (against DNS rebinding), the Origin the page's, and the address hold the token. In the local
network the same is asked with another token, and more: the Host must be the very address that was reached, the other
side must be of that same network and not come from farther through a router, and who tries wrong tokens is put off.
"""

import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from ipaddress import IPv4Address, IPv4Interface

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse

from digitize.trace.addresses import HERE

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}
_TRUSTED_ONLY = ("Cross-Origin-Opener-Policy",)
"""Browsers heed it on this machine's own address or with encryption, and complain about it elsewhere."""
MOST_WRONG = 20
PERIOD_S = 60.0
MOST_REMEMBERED = 1000


class Attempts:
    """Wrong tokens of the last minute, by who sent them. clock: seconds that only grow."""

    def __init__(self, clock: Callable[[], float] = time.monotonic):
        self.clock = clock
        self.wrong: dict[str, list[float]] = {}

    def put_off(self, peer: str) -> bool:
        """Whether this one has tried too often: then no token helps, so that none is tried."""
        return len(self._recent(peer)) >= MOST_WRONG

    def note(self, peer: str) -> None:
        recent = self._recent(peer)
        self.wrong.pop(peer, None)
        self.wrong[peer] = [*recent, self.clock()]
        while len(self.wrong) > MOST_REMEMBERED:
            del self.wrong[next(iter(self.wrong))]

    def _recent(self, peer: str) -> list[float]:
        return [at for at in self.wrong.get(peer, []) if self.clock() - at < PERIOD_S]


@dataclass(frozen=True)
class Door:
    """A way in. hosts: accepted Host headers; interfaces: this machine's addresses in local networks, none: the way
    from this machine itself; came: told who has come in with the right token."""

    name: str
    hosts: frozenset[str]
    token: str
    interfaces: tuple[IPv4Interface, ...] = ()
    came: Callable[[str], None] = lambda peer: None
    attempts: Attempts = field(default_factory=Attempts)

    def reached(self, scope, host: str) -> str | None:
        """Why the request may not come this way, None if it may."""
        if not self.interfaces:
            return None if scope["server"][0] == HERE else "This page is served to this machine only.\n"
        own = next((each for each in self.interfaces if str(each.ip) == scope["server"][0]), None)
        if own is None or host.rpartition(":")[0] != str(own.ip):
            return "This address is not served here.\n"
        if IPv4Address(scope["client"][0]) not in own.network:
            return f"This page is served to devices of its own network only ({own.network}).\n"
        return None


class Guard:
    """ASGI middleware."""

    def __init__(self, app, *doors: Door):
        self.app, self.doors = app, doors

    async def __call__(self, scope, receive, send):
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        host = Headers(scope=scope).get("host", "")
        door = next((door for door in self.doors if host in door.hosts), None)
        refused = (421, "This page is not served under that name.\n") if door is None else _refused(scope, door, host)
        if refused is not None:
            await PlainTextResponse(refused[1], refused[0], HEADERS)(scope, receive, send)
            return
        door.came(scope["client"][0])
        inside = {**scope, "root_path": f"/{door.token}", "door": door.name}
        without = _TRUSTED_ONLY if door.interfaces else ()
        await self.app(inside, receive, _with_headers(send, {k: v for k, v in HEADERS.items() if k not in without}))


def _refused(scope, door: Door, host: str) -> tuple[int, str] | None:
    """Status and words, None if all is right."""
    headers = Headers(scope=scope)
    elsewhere = door.reached(scope, host)
    if elsewhere is not None:
        return 421, elsewhere
    origin, site = headers.get("origin"), headers.get("sec-fetch-site", "none")
    if site not in ("none", "same-origin") or (origin is not None and origin != f"http://{host}"):
        return 403, "Requests of other pages are refused.\n"
    if scope["method"] not in ("GET", "HEAD") and origin is None:
        return 403, "A request that changes something must name its origin.\n"
    return _wrong_token(scope, door)


def _wrong_token(scope, door: Door) -> tuple[int, str] | None:
    """What is no token by its length is no attempt at one: browsers ask for icons by names of their own."""
    peer, counted = scope["client"][0], bool(door.interfaces)
    if counted and door.attempts.put_off(peer):
        return 429, "Too many wrong addresses. Wait a minute.\n"
    first = scope["path"].lstrip("/").split("/", 1)[0]
    if secrets.compare_digest(first.encode(), door.token.encode()):
        return None
    if counted and len(first) == len(door.token):
        door.attempts.note(peer)
    return 404, "Not found. Open the address that digitize trace has printed.\n"


def _with_headers(send, headers: dict[str, str]):
    extra = [(name.lower().encode(), value.encode()) for name, value in headers.items()]

    async def sending(message):
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message["headers"], *extra]}
        await send(message)

    return sending
