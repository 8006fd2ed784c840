"""Starting the page's server and ending it."""

import secrets
import webbrowser
from collections.abc import Callable
from ipaddress import IPv4Interface

import uvicorn

from digitize.trace.addresses import HERE, listen, listen_also
from digitize.trace.lines import Lines
from digitize.trace.phone import Phone
from digitize.trace.server import application
from digitize.trace.session import Session


def serve(
    session: Session,
    port: int,
    announce: Callable[[str, Phone | None], None],
    open_browser: bool,
    network: tuple[IPv4Interface, ...] = (),
) -> None:
    """Serve the page until interrupted. announce: called with the address, and that for the phone; network: this
    machine's addresses in local networks to serve it at too, the best first. Raises UsageRefusal."""
    sockets, had = listen_also(port, network) if network else ([listen(port)], [])
    number = sockets[0].getsockname()[1]
    phone = Phone(tuple(had), number) if had else None
    token = secrets.token_urlsafe(18)
    address = f"http://{HERE}:{number}/{token}/"
    announce(address, phone)
    if open_browser:
        webbrowser.open(address)
    try:
        server_of(session, number, token, phone).run(sockets=sockets)
    finally:
        for each in sockets:
            each.close()


def server_of(session: Session, port: int, token: str, phone: Phone | None, patience=None) -> uvicorn.Server:
    """The server, not yet running. patience: with connections of the network."""
    hosts = frozenset({f"{HERE}:{port}", f"localhost:{port}"})
    known = (lambda peer: peer in phone.devices) if phone else (lambda peer: False)
    lines = Lines(application(session, hosts, token, phone), known, patience)
    # its warnings are of what strangers send
    config = uvicorn.Config(
        lines,
        http=lines.protocol,
        log_level="error",
        lifespan="off",
        server_header=False,
        ws="none",
        proxy_headers=False,
    )
    return uvicorn.Server(config)
