"""The page in the local network: its address for the phone, and what is said about that."""

import secrets
import textwrap
from dataclasses import dataclass, field
from ipaddress import IPv4Interface
from typing import TextIO

from digitize.trace.qr import as_text, can_show
from digitize.trace.session import Session

OPEN = (
    "Until the program ends, this page is open to your local network, not only to this machine: whoever has its "
    "address there can see this rocket and change it."
)
PLAIN = (
    "It goes through the air unencrypted (plain HTTP). Somebody who listens in on the same Wi-Fi could read the photo, "
    "the numbers and the address itself. Use a network you trust: your own, not a hotel's."
)
NOTHING = (
    "If the phone finds nothing: is it in the same Wi-Fi, and does this machine's firewall let it in? If this machine "
    "has changed networks, start the program again."
)

WIDTH = 80


@dataclass(frozen=True)
class Phone:
    """interfaces: this machine's addresses in local networks, the best first; token: another than the one for this
    machine, gone with the program; devices: who has come with it, and they alone."""

    interfaces: tuple[IPv4Interface, ...]
    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(18))
    devices: list[str] = field(default_factory=list)

    @property
    def hosts(self) -> tuple[str, ...]:
        return tuple(f"{each.ip}:{self.port}" for each in self.interfaces)

    @property
    def addresses(self) -> tuple[str, ...]:
        """Of the page, the best first."""
        return tuple(f"http://{host}/{self.token}/" for host in self.hosts)

    def came(self, device: str) -> None:
        if device not in self.devices:
            self.devices.append(device)

    def as_json(self) -> dict:
        """What the page on this machine shows."""
        return {"addresses": list(self.addresses), "devices": list(self.devices), "words": [OPEN, PLAIN, NOTHING]}


def without_folders(said: dict | None, session: Session) -> dict | None:
    """A refusal as the network may read it: the rocket's folder and the photo's by their names alone."""
    if said is None:
        return None
    for folder in filter(None, (session.folder, session.photo_path and session.photo_path.parent)):
        for path in {folder.absolute(), folder.resolve()}:
            said = {key: text.replace(str(path), path.name) for key, text in said.items()}
    return said


def on_the_terminal(phone: Phone, out: TextIO) -> str:
    """What the command prints of it, under the address for this machine."""
    best, *others = phone.addresses
    lines = ["", as_text(best)] if can_show(out) else [""]
    lines.append("On the phone, in the same Wi-Fi: point its camera at the square, here or on the page, or type")
    lines.append(best)
    if others:
        lines += ["This machine is in other networks too; for a phone in one of those:", *others]
    return "\n".join([*lines, *(textwrap.fill(words, WIDTH) for words in (OPEN, PLAIN, NOTHING)), ""])
