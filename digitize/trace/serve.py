"""Starting the page's server and ending it."""

import secrets
import socket
import webbrowser
from collections.abc import Callable

import uvicorn

from digitize.errors import UsageRefusal
from digitize.trace.server import application
from digitize.trace.session import Session

ADDRESS = "127.0.0.1"


def listen(port: int) -> socket.socket:
    """A socket on this machine's own address; port 0: any free one. Raises UsageRefusal."""
    # named TCP, asyncio sends small packets at once; else each answer waits 40 ms for the browser's acknowledgement
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((ADDRESS, port))
        made.listen(64)
    except (OSError, OverflowError) as error:
        made.close()
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        remedy = "leave --port out: a free one is chosen"
        raise UsageRefusal(f"--port {port} can't be used ({reason})", remedy) from None
    return made


def serve(session: Session, port: int, say: Callable[[str], None], open_browser: bool) -> None:
    """Serve the page until interrupted. say: told the address."""
    made = listen(port)
    number = made.getsockname()[1]
    token = secrets.token_urlsafe(18)
    address = f"http://{ADDRESS}:{number}/{token}/"
    hosts = frozenset({f"{ADDRESS}:{number}", f"localhost:{number}"})
    config = uvicorn.Config(
        application(session, hosts, token), log_level="warning", lifespan="off", server_header=False, ws="none"
    )
    say(address)
    if open_browser:
        webbrowser.open(address)
    with made:
        uvicorn.Server(config).run(sockets=[made])
