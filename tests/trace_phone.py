"""A session served to a local network, for the tests: the network is this machine's own 127.0.0.0/8, in which it has as
many addresses as one likes, so no test needs a real one."""

import http.client
import json
import socket
import threading
from ipaddress import IPv4Interface

from digitize.trace.addresses import listen_also
from digitize.trace.lines import Patience
from digitize.trace.phone import Phone
from digitize.trace.serve import server_of

HERE, LAN, OTHER = "127.0.0.1", "127.0.0.2", "127.0.1.2"
NETWORK = IPv4Interface(f"{LAN}/24")
PHONE, STRANGER, FARTHER = "127.0.0.9", "127.0.0.66", "127.0.7.7"
TOKEN = "the-token-of-this-machine"


class Shared:
    """The page served at both, in a thread."""

    def __init__(self, session, patience=None, interfaces=(NETWORK,)):
        self.session = session
        self.sockets, had = listen_also(0, interfaces)
        self.port = self.sockets[0].getsockname()[1]
        self.phone = Phone(tuple(had), self.port)
        self.server = server_of(session, self.port, TOKEN, self.phone, patience or Patience())
        self.thread = threading.Thread(target=self.server.run, kwargs={"sockets": self.sockets}, daemon=True)
        self.url, self.phone_url = f"http://{HERE}:{self.port}/{TOKEN}/", self.phone.addresses[0]

    def __enter__(self):
        self.thread.start()
        return self

    def __exit__(self, *_):
        self.server.should_exit = True
        self.thread.join(10)
        assert not self.thread.is_alive()
        for each in self.sockets:
            each.close()

    def dial(self, to=LAN, source=PHONE) -> socket.socket:
        """A bare connection."""
        return socket.create_connection((to, self.port), 20, (source, 0))

    def ask(self, path="state", method="GET", body=None, to=LAN, source=PHONE, token=None, **headers):
        """(status, headers, content) of one request; token: None is the right one for that address."""
        token = token or (TOKEN if to == HERE else self.phone.token)
        own = {"Origin": f"http://{to}:{self.port}"} if method == "POST" else {}
        if isinstance(body, dict):
            body = json.dumps(body).encode()
        connection = http.client.HTTPConnection(to, self.port, 20, source_address=(source, 0))
        try:
            sent = {**own, **{name.replace("_", "-"): value for name, value in headers.items()}}
            connection.request(method, f"/{token}/{path}", body, {k: v for k, v in sent.items() if v is not None})
            answer = connection.getresponse()
            return answer.status, answer.headers, answer.read()
        finally:
            connection.close()

    def told(self, path="state", method="GET", body=None, **options) -> dict:
        status, _, content = self.ask(path, method, body, **options)
        assert status == 200, content
        return json.loads(content)

    def from_here(self, path="state", **options) -> dict:
        return self.told(path, to=HERE, source=HERE, **options)


def closed(connection: socket.socket, seconds=10.0) -> bool:
    """Whether the other side closes it within so long."""
    connection.settimeout(seconds)
    try:
        return connection.recv(1) == b""
    except ConnectionError:
        return True
    except TimeoutError:
        return False
