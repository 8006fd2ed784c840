"""This machine's addresses in local networks, and sockets that listen on them.

Only addresses that the internet can't reach are used (RFC 1918 and the like), and each of them by itself: nothing
listens on "all addresses". IPv4 alone: what a phone's camera reads, and what every home network has.
"""

import socket
from collections.abc import Callable
from ipaddress import IPv4Address, IPv4Interface

from digitize.errors import UsageRefusal

HERE = "127.0.0.1"
NARROWEST = 30
"""Bits of a network's mask beyond which there is no room for a phone in it: the ends of tunnels."""
ELSEWHERE = "203.0.113.1"
"""An address kept for documentation (RFC 5737), so in no network of ours: the way to it is the default route."""
_REMEDY = "join the phone's Wi-Fi, or leave --phone out"
_TRIES = 20


def local_addresses(
    all_addresses: Callable[[], list[IPv4Interface]] | None = None, default: Callable[[], str | None] | None = None
) -> tuple[IPv4Interface, ...]:
    """This machine's addresses in local networks, with their networks; the one of the default route first.

    Raises UsageRefusal if there is none. all_addresses, default: what is asked of the system, given by tests.
    """
    every = [a for a in (all_addresses or system_addresses)() if not (a.ip.is_loopback or a.ip.is_link_local)]
    found = [a for a in every if a.ip.is_private and a.network.prefixlen <= NARROWEST]
    if not found:
        if every:
            what = f"--phone: this machine's address, {every[0].ip}, is not one of a local network"
            raise UsageRefusal(what, _REMEDY)
        raise UsageRefusal("--phone: this machine is in no network", _REMEDY)
    first = (default or default_route)()
    return tuple(sorted(dict.fromkeys(found), key=lambda a: str(a.ip) != first))


def system_addresses() -> list[IPv4Interface]:
    import psutil  # for --phone alone

    up = {name for name, state in psutil.net_if_stats().items() if state.isup}
    return [
        IPv4Interface(f"{each.address}/{each.netmask}")
        for name, addresses in psutil.net_if_addrs().items()
        for each in addresses
        if name in up and each.family == socket.AF_INET and each.netmask
    ]


def default_route() -> str | None:
    """The address from which this machine would speak to one far away; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((ELSEWHERE, 9))
        except OSError:
            return None
        return probe.getsockname()[0]


def listen(port: int, address: IPv4Address | str = HERE) -> socket.socket:
    """A socket on one of this machine's own addresses; port 0: any free one. Raises UsageRefusal."""
    # named TCP, asyncio sends small packets at once; else each answer waits 40 ms for the browser's acknowledgement
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        # on Windows the other option would let a second program listen on the same port
        alone = getattr(socket, "SO_EXCLUSIVEADDRUSE", socket.SO_REUSEADDR)
        made.setsockopt(socket.SOL_SOCKET, alone, 1)
        made.bind((str(address), port))
        made.listen(64)
    except (OSError, OverflowError) as error:
        made.close()
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        remedy = "leave --port out: a free one is chosen"
        raise UsageRefusal(f"--port {port} can't be used ({reason})", remedy) from None
    return made


def listen_also(port: int, addresses: tuple[IPv4Interface, ...]) -> tuple[list[socket.socket], list[IPv4Interface]]:
    """Sockets on this machine alone, on the first of the addresses, and on those of the others that can be had; all
    on one port, 0: any free one. The first socket is this machine's own. Raises UsageRefusal."""
    for left in reversed(range(_TRIES if port == 0 else 1)):
        made = [listen(port)]
        number = made[0].getsockname()[1]
        had = []
        for address in addresses:
            try:
                made.append(listen(number, address.ip))
                had.append(address)
            except UsageRefusal:
                if not had:
                    break
        if had:
            return made, had
        for each in made:
            each.close()
        if not left:
            break
    if port == 0:
        raise UsageRefusal(f"--phone: {addresses[0].ip} can't be used", _REMEDY)
    raise UsageRefusal(f"--port {port} can't be used at {addresses[0].ip}", "leave --port out: a free one is chosen")
