"""What no request passes without: the right host, origin and token. Nothing of another site reaches the page.

Served on 127.0.0.1 only; a page elsewhere could still send requests there (or point its own name at it), so the Host
must be this machine's own (against DNS rebinding), the Origin the page's, and the address hold the token.
"""

import secrets

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Guard:
    """ASGI middleware. hosts: accepted Host headers; token: first part of every path."""

    def __init__(self, app, hosts: frozenset[str], token: str):
        self.app, self.hosts, self.token = app, hosts, token

    async def __call__(self, scope, receive, send):
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        refused = self._refused(scope)
        if refused is not None:
            await PlainTextResponse(refused[1], refused[0], HEADERS)(scope, receive, send)
            return
        await self.app(scope, receive, _with_headers(send))

    def _refused(self, scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if host not in self.hosts:
            return 421, "This page is served to this machine only.\n"
        origin, site = headers.get("origin"), headers.get("sec-fetch-site", "none")
        if site not in ("none", "same-origin") or (origin is not None and origin != f"http://{host}"):
            return 403, "Requests of other pages are refused.\n"
        if scope["method"] not in ("GET", "HEAD") and origin is None:
            return 403, "A request that changes something must name its origin.\n"
        first = scope["path"].lstrip("/").split("/", 1)[0]
        if not secrets.compare_digest(first.encode(), self.token.encode()):
            return 404, "Not found. Open the address that digitize trace has printed.\n"
        return None


def _with_headers(send):
    async def sending(message):
        if message["type"] == "http.response.start":
            extra = [(k.lower().encode(), v.encode()) for k, v in HEADERS.items()]
            message = {**message, "headers": [*message["headers"], *extra]}
        await send(message)

    return sending
