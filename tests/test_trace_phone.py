"""The page in the local network: who gets in and who does not, and what nobody there can do to the person's own page.

There is no outside reference for this; each attack is made, on a real server, and what it may not do is looked at.
"""

import io
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import ExitStack, suppress
from ipaddress import IPv4Interface

import pytest
from PIL import Image
from trace_page import until
from trace_phone import FARTHER, HERE, LAN, OTHER, PHONE, STRANGER, TOKEN, Shared, closed
from trace_scene import drawn_session, photo_file, seen

from digitize import cli
from digitize.errors import UsageRefusal
from digitize.trace import addresses as own_addresses
from digitize.trace import bodies, guard, server
from digitize.trace.addresses import listen, listen_also, local_addresses
from digitize.trace.lines import Patience
from digitize.trace.reopened import open_folder
from digitize.trace.session import Session

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only there all of 127.0.0.0/8 is this machine's")
CORNER = {"do": "move-fin-point", "group": 0, "fin": 0, "point": 1, "to": seen(380.0, 75.0).tolist()}


def picture(size=(300, 200), form="PNG") -> bytes:
    data = io.BytesIO()
    Image.effect_noise(size, 60).convert("RGB").save(data, form)
    return data.getvalue()


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    with Shared(drawn_session(tmp_path_factory.mktemp("phone"))) as shared:
        yield shared


# --- who gets in ------------------------------------------------------------------------------------------------------


def test_the_phone_has_an_address_of_its_own_that_nobody_guesses(shared, tmp_path):
    token = shared.phone.token
    assert re.fullmatch(r"[\w-]{24}", token) and token != TOKEN  # 24 letters of 64: 144 bits
    assert shared.phone_url == f"http://{LAN}:{shared.port}/{token}/"
    assert shared.told()["phase"] == "ready" and shared.from_here()["phase"] == "ready"
    with Shared(Session(tmp_path)) as another:
        assert another.phone.token != token


@pytest.mark.parametrize(
    ("options", "status"),
    [
        ({"token": TOKEN}, 404),  # this machine's own is of no use in the network
        ({"token": "a" * 24}, 404),
        ({"token": "a"}, 404),
        ({"Host": "evil.example"}, 421),
        ({"Host": "127.0.0.1:{port}"}, 421),
        ({"Host": "localhost:{port}", "token": TOKEN}, 421),
        ({"Host": "127.0.0.2"}, 421),
        ({"Host": "127.0.0.2:{port}.evil.example"}, 421),
        ({"Host": "127.0.1.2:{port}"}, 421),
        ({"to": HERE, "token": "{phone}"}, 404),  # nor the phone's on this machine's
        ({"to": HERE, "token": "{phone}", "Host": "127.0.0.2:{port}"}, 421),
        ({"source": FARTHER}, 421),  # through a router
        ({"source": FARTHER, "X_Forwarded_For": PHONE}, 421),
        ({"Origin": "http://evil.example"}, 403),
        ({"Sec_Fetch_Site": "cross-site"}, 403),
        ({"path": "save", "method": "POST", "Origin": None}, 403),
        ({"path": "save", "method": "POST", "Origin": "http://127.0.0.1:{port}"}, 403),
        ({"path": ""}, 200),
        ({"path": "../state"}, 404),
        ({"path": "static/"}, 404),
        ({"path": "download/"}, 404),
        ({"path": "download/..%2f..%2fetc%2fpasswd"}, 404),
        ({"path": "download/photo.jpg"}, 404),
        ({"path": "download/trace.json"}, 404),
        ({"path": "qr/0.svg"}, 404),  # the address is this machine's to hand on
    ],
)
def test_who_gets_in(shared, options, status):
    fill = {"port": shared.port, "phone": shared.phone.token}
    options = {k: v.format(**fill) if isinstance(v, str) and "{" in v else v for k, v in options.items()}
    got, _, content = shared.ask(**options)
    assert got == status
    if status != 200:
        assert shared.phone.token.encode() not in content and TOKEN.encode() not in content and len(content) < 200


def test_a_second_network_is_served_only_under_its_own_address(tmp_path):
    both = (IPv4Interface(f"{LAN}/24"), IPv4Interface(f"{OTHER}/24"))
    with Shared(Session(tmp_path), interfaces=both) as shared:
        assert shared.told(to=LAN)["shared"] and shared.told(to=OTHER, source="127.0.1.9")["shared"]
        assert shared.ask(to=OTHER, source=PHONE)[0] == 421
        assert shared.ask(to=OTHER, source="127.0.1.9", Host=f"{LAN}:{shared.port}")[0] == 421
        assert len(shared.from_here()["phone"]["addresses"]) == 2


def test_only_this_machine_s_page_learns_the_address_and_who_came(shared):
    mine, theirs = shared.from_here(), shared.told()
    assert mine["phone"]["addresses"] == [shared.phone_url] and mine["phone"]["devices"] == [PHONE]
    assert mine["door"] == "computer" and theirs["door"] == "phone" and "phone" not in theirs
    assert TOKEN not in json.dumps(theirs) and str(shared.session.folder) not in json.dumps(theirs)
    code = shared.ask("qr/0.svg", to=HERE, source=HERE)
    assert code[0] == 200 and code[1]["Content-Type"] == "image/svg+xml"
    assert shared.ask("qr/1.svg", to=HERE, source=HERE)[0] == 404
    assert shared.from_here("version")["devices"] == [PHONE] and shared.told("version")["devices"] == []
    shared.ask(token="b" * 24, source=STRANGER)
    assert shared.from_here("version")["devices"] == [PHONE]  # who was turned away has not come


def test_the_code_says_the_address(shared):
    """Read back by OpenCV, which is no part of what drew it; an address of the server's form, not a new one each time,
    because OpenCV 5.0 fails to read some 4 of 100 such codes however they are drawn."""
    import cv2
    import numpy as np

    from digitize.trace.qr import QUIET, as_svg, as_text, code

    address = "http://192.168.1.23:41873/QnYaw04XD8MsuJ3sc2RTHm8t/"
    assert re.fullmatch(r"http://[\d.]+:\d+/[\w-]{24}/", shared.phone_url) and len(shared.phone_url) <= len(address)
    modules = np.array([list(row) for row in code(address).matrix_iter(scale=8, border=QUIET)])
    assert cv2.QRCodeDetector().detectAndDecode(np.where(modules, 0, 255).astype(np.uint8))[0] == address
    rows = [re.sub("\x1b.*?m", "", line) for line in as_text(address).splitlines()]
    halves = {" ": (0, 0), "\u2580": (1, 0), "\u2584": (0, 1), "\u2588": (1, 1)}
    dark = np.array([[halves[sign] for sign in row] for row in rows]).transpose(0, 2, 1).reshape(-1, len(rows[0]))
    shown = np.kron(np.where(dark, 0, 255), np.ones((8, 8))).astype(np.uint8)
    assert cv2.QRCodeDetector().detectAndDecode(shown)[0] == address and len(rows[0]) < 80
    assert b"script" not in as_svg(address)


def test_wrong_tokens_are_put_off_and_nobody_else(shared, monkeypatch):
    guess = lambda source: shared.ask(token="x" * 24, source=source)[0]  # noqa: E731
    stranger = "127.0.0.67"
    for name in ("favicon.ico", "apple-touch-icon.png", "robots.txt"):
        for _ in range(10):
            assert shared.ask(token=name, source=stranger)[0] == 404  # as browsers do by themselves
    assert [guess(stranger) for _ in range(guard.MOST_WRONG)] == [404] * guard.MOST_WRONG
    assert guess(stranger) == 429
    assert shared.ask(source=stranger)[0] == 429  # not even the right one, else it could be found
    assert shared.ask(source=PHONE)[0] == 200 and shared.ask(to=HERE, source=HERE)[0] == 200


def test_who_was_put_off_may_try_again_and_not_all_are_remembered():
    now = [0.0]
    attempts = guard.Attempts(lambda: now[0])
    for k in range(guard.MOST_WRONG):
        assert not attempts.put_off("a")
        now[0] = k / 10
        attempts.note("a")
    assert attempts.put_off("a") and not attempts.put_off("b")
    now[0] = guard.PERIOD_S - 0.01
    assert attempts.put_off("a")
    now[0] = guard.PERIOD_S + 0.01
    assert not attempts.put_off("a")
    for k in range(3 * guard.MOST_REMEMBERED):
        attempts.note(str(k))
    assert len(attempts.wrong) == guard.MOST_REMEMBERED


# --- what nobody can do to the page -----------------------------------------------------------------------------------


def test_many_connections_at_once_keep_nobody_else_out(tmp_path):
    """One device opens all it can, then several together: this machine is let in always, a phone that has come before
    too, another as long as there is room; and once they are gone, all are."""
    few = Patience(of_one=5, of_strangers=20)
    with Shared(Session(tmp_path), few) as shared:
        held = [shared.dial(source=STRANGER) for _ in range(60)]
        until(lambda: len(shared.server.server_state.connections) == few.of_one)
        assert sum(closed(each, 0.2) for each in held) == 60 - few.of_one
        assert shared.told()["phase"] == "start" and shared.from_here()["phase"] == "start"
        held += [shared.dial(source=f"127.0.0.{100 + k % 9}") for k in range(90)]
        until(lambda: len(shared.server.server_state.connections) == few.of_strangers)
        for _ in range(30):
            assert shared.told()["phase"] == "start" and shared.from_here()["phase"] == "start"
        with shared.dial(source="127.0.0.200") as late:
            assert closed(late)
        for each in held:
            each.close()
        until(lambda: not shared.server.server_state.connections)
        assert shared.told(source="127.0.0.200")["phase"] == "start"
        held = [shared.dial(source=PHONE) for _ in range(9)]  # who has come has its own limit as well
        until(lambda: len(shared.server.server_state.connections) == few.of_one)
        for each in held:
            each.close()


@pytest.mark.parametrize("head", [b"", b"GET /", b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow: "])
def test_a_request_that_never_comes_is_not_waited_for(tmp_path, head):
    """Nothing, or a letter now and then; on this machine's own address it is, as before."""
    with Shared(Session(tmp_path), Patience(request_s=0.5)) as shared, shared.dial() as slow:
        own = shared.dial(HERE, HERE)
        began = time.monotonic()
        try:
            slow.sendall(head)
            while time.monotonic() < began + 5:
                slow.sendall(b"a" if head else b"")
                time.sleep(0.1)
                if closed(slow, 0.01):
                    break
        except ConnectionError:
            pass
        assert 0.4 < time.monotonic() - began < 4
        assert not closed(own, 0.1)
        own.close()


def test_after_an_answer_the_next_request_is_not_waited_for_either(tmp_path):
    with Shared(Session(tmp_path), Patience(request_s=0.5)) as shared, shared.dial() as slow:
        head = f"GET /{shared.phone.token}/version HTTP/1.1\r\nHost: {LAN}:{shared.port}\r\n\r\n".encode()
        slow.sendall(head)
        assert b"200 OK" in slow.recv(4096)
        began = time.monotonic()
        with pytest.raises(ConnectionError):
            while time.monotonic() < began + 5:
                slow.sendall(b"G")  # uvicorn's own clock stops at the first letter
                time.sleep(0.1)
        assert time.monotonic() < began + 4


def post_head(shared, path, length) -> bytes:
    lines = (f"POST /{shared.phone.token}/{path} HTTP/1.1", f"Host: {LAN}:{shared.port}",
             f"Origin: http://{LAN}:{shared.port}", f"Content-Length: {length}", "", "")  # fmt: skip
    return "\r\n".join(lines).encode()


@pytest.mark.parametrize("path", ["upload", "change"])
def test_a_body_that_is_dribbled_is_left_off(tmp_path, monkeypatch, path):
    monkeypatch.setattr(bodies, "PATIENCE_S", 0.6)
    with Shared(Session(tmp_path / "r")) as shared, shared.dial() as slow:
        slow.sendall(post_head(shared, path, 100_000))
        began = time.monotonic()
        answer = b""
        slow.settimeout(0.05)
        while not answer and time.monotonic() < began + 5:
            slow.sendall(b"x")
            try:
                answer = slow.recv(4096)
            except TimeoutError:
                time.sleep(0.05)
        assert b"408" in answer.split(b"\r\n")[0] and 0.4 < time.monotonic() - began < 4
        slow.settimeout(10)
        while b"too slowly" not in answer:
            answer += slow.recv(4096) or pytest.fail("closed before it said why")
        assert not (tmp_path / "r").exists() and not shared.session.working
        assert shared.told()["phase"] == "start"


def test_a_photo_over_a_bad_wi_fi_still_arrives(tmp_path, monkeypatch):
    """Longer than the patience with silence, but it keeps the pace."""
    content = picture((400, 300))
    monkeypatch.setattr(bodies, "PATIENCE_S", 1.0)
    monkeypatch.setattr(bodies, "SLOWEST_BYTES_PER_S", len(content) / 9)
    with Shared(Session(tmp_path / "r")) as shared, shared.dial() as slow:
        slow.sendall(post_head(shared, "upload", len(content)))
        began = time.monotonic()
        size = -(-len(content) // 15)
        for k in range(0, len(content), size):
            slow.sendall(content[k : k + size])
            time.sleep(0.2)
        assert time.monotonic() - began > 2.5 * bodies.PATIENCE_S
        assert b"200 OK" in slow.recv(65536)
        assert shared.session.photo.rgb.shape == (300, 400, 3)


def test_what_is_too_large_is_refused_before_it_comes(tmp_path):
    with Shared(Session(tmp_path / "r")) as shared, shared.dial() as large:
        large.sendall(post_head(shared, "upload", server.LARGEST_UPLOAD + 1))
        assert b"413" in large.recv(4096)
        status, _, content = shared.ask("change", "POST", b"x" * (server.LARGEST_JSON + 1))
        assert status == 413 and b"larger than" in content
        assert not (tmp_path / "r").exists()


def test_few_photos_come_in_at_once_and_this_machine_s_own_always(tmp_path):
    content = picture()
    with Shared(Session(tmp_path / "r")) as shared:
        slow = [shared.dial(source=STRANGER) for _ in range(bodies.AT_ONCE)]
        for each in slow:
            each.sendall(post_head(shared, "upload", 1000) + b"x")
        time.sleep(0.3)
        status, _, said = shared.ask("upload", "POST", content)
        assert status == 422 and b"just coming in" in said
        assert shared.from_here("upload", method="POST", body=content)["photo"]["width"] == 300
        for each in slow:
            each.close()
        until(lambda: shared.ask("upload", "POST", content)[0] == 200)


def test_a_phone_that_vanishes_leaves_nothing_behind(tmp_path):
    """In the middle of a photo, and while the answer is on its way."""
    content = picture((1500, 1000))
    with Shared(Session(tmp_path / "r")) as shared:
        with shared.dial() as gone:
            gone.sendall(post_head(shared, "upload", len(content)) + content[: len(content) // 2])
            gone.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")  # a reset, as of a dead battery
        until(lambda: not shared.server.server_state.connections)
        assert not (tmp_path / "r").exists() and shared.session.photo is None and not shared.session.working
        shared.told("upload", "POST", content)
        for _ in range(4):
            with shared.dial() as gone:
                path = f"/{shared.phone.token}/photo.jpg"
                gone.sendall(f"GET {path} HTTP/1.1\r\nHost: {LAN}:{shared.port}\r\n\r\n".encode())
        until(lambda: not shared.server.server_state.connections)
        assert shared.from_here()["photo"] == {"name": "photo.png", "width": 1500, "height": 1000}


def asks_for_the_photo(shared, more="") -> socket.socket:
    """A connection that has asked and will take little at a time."""
    made = socket.socket()
    made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 20_000)
    made.bind((PHONE, 0))
    made.connect((LAN, shared.port))
    head = f"GET /{shared.phone.token}/photo.jpg HTTP/1.1\r\nHost: {LAN}:{shared.port}\r\n{more}\r\n"
    made.sendall(head.encode())
    return made


@pytest.mark.parametrize("more", ["", "Connection: close\r\n"])
def test_an_answer_that_nobody_reads_is_given_up_and_a_slow_reader_has_time(tmp_path, more):
    content = picture((3500, 2500))  # noise: megabytes also as the JPEG that is shown, more than sockets hold
    with Shared(Session(tmp_path / "r"), Patience(request_s=0.5, answer_s=0.5)) as shared:
        shared.told("upload", "POST", content)
        whole = shared.ask("photo.jpg")[2]
        until(lambda: not shared.server.server_state.connections)
        with asks_for_the_photo(shared, more):
            until(lambda: shared.server.server_state.connections)
            until(lambda: not shared.server.server_state.connections)
        with asks_for_the_photo(shared, more) as slow:
            began, got = time.monotonic(), b""
            while len(got) < len(whole):
                part = slow.recv(150_000)
                assert part, f"closed after {len(got)} of {len(whole)} bytes"
                got += part
                time.sleep(4 * len(part) / len(whole))
            assert time.monotonic() - began > 3 and got.endswith(whole[-1000:])


def test_it_ends_though_somebody_holds_on(tmp_path):
    with ExitStack() as ends:
        with Shared(Session(tmp_path / "r"), Patience(ending_s=0.2)) as shared:
            slow, idle = (ends.enter_context(shared.dial()) for _ in range(2))
            slow.sendall(post_head(shared, "upload", 1000) + b"x")
            time.sleep(0.2)
        assert closed(slow) and closed(idle)  # and the server's thread has ended, within its ten seconds
        with pytest.raises(OSError):
            shared.dial()


# --- two at once ------------------------------------------------------------------------------------------------------


def test_an_edit_on_an_old_version_is_refused_and_nothing_is_lost(tmp_path):
    with Shared(drawn_session(tmp_path)) as shared:
        phone, computer = shared.told(), shared.from_here()
        assert phone["edition"] == computer["edition"] and phone["version"] == computer["version"]
        made = shared.told("change", "POST", CORNER, If_Match=str(phone["edition"]))
        assert made["edition"] > computer["edition"] and made["states"] == 3
        assert shared.from_here("version")["version"] > computer["version"]
        late = {"method": "POST", "to": HERE, "source": HERE, "If_Match": str(computer["edition"])}
        other = {**CORNER, "point": 2}
        for path, body in (("change", other), ("preview", other), ("go", {"to": 0}), ("save", {}),
                           ("measure", {"words": {}}), ("upload", picture())):  # fmt: skip
            status, _, said = shared.ask(path, body=body, **late)
            assert status == 412 and "changed on another screen" in json.loads(said)["refused"]["what"], path
        now = shared.from_here()
        assert now["states"] == 3 and now["result"] == made["result"] and now["photo"] == phone["photo"]
        again = shared.from_here("change", method="POST", body=other, If_Match=f'"{now["edition"]}"')
        assert again["states"] == 4 and again["edition"] > now["edition"]
        both = shared.told("go", "POST", {"to": 2}, If_Match=str(again["edition"]))
        assert both["result"] == made["result"]  # Undo leads back over what the other did
        assert shared.told("go", "POST", {"to": 1}, If_Match=str(both["edition"]))["result"] == phone["result"]


def test_of_many_edits_at_once_one_is_made(tmp_path):
    with Shared(drawn_session(tmp_path)) as shared:
        edition, codes = str(shared.told()["edition"]), []

        def edit(k):
            to = seen(380.0, 60.0 + k).tolist()
            codes.append(shared.ask("change", "POST", {**CORNER, "to": to}, If_Match=edition)[0])

        threads = [threading.Thread(target=edit, args=(k,)) for k in range(6)]
        for each in threads:
            each.start()
        for each in threads:
            each.join()
        assert sorted(codes) == [200] + [412] * 5 and len(shared.session.states) == 3


def test_versions_grow_with_all_that_is_shown_and_editions_with_the_rocket_alone(tmp_path):
    session = drawn_session(tmp_path)
    with Shared(session) as shared:

        def numbers():
            told = shared.told("version")
            return told["version"], told["edition"]

        first = numbers()
        assert numbers() == first
        for work, edits in (
            (lambda: shared.told("units", "POST", {"units": "in"}), False),
            (lambda: session.save(), False),
            (lambda: setattr(session, "stage", "looking"), False),
            (lambda: session.change(CORNER), True),
            (lambda: session.go(0), True),
            (lambda: session.begin(session.texts, session.beginning.drawn, go_on=True), True),
            (lambda: session.load_photo(photo_file(tmp_path, "other.jpg")), True),
        ):
            work()
            now = numbers()
            assert now[0] > first[0] and (now[1] > first[1]) == edits
            first = now


def test_two_photos_at_once_are_both_kept_and_one_is_shown(tmp_path):
    with Shared(Session(tmp_path / "r")) as shared:
        photos, codes = [picture((600 + k, 400)) for k in range(4)], []
        threads = [
            threading.Thread(target=lambda c=c: codes.append(shared.ask("upload", "POST", c, to=HERE, source=HERE)[0]))
            for c in photos
        ]
        for each in threads:
            each.start()
        for each in threads:
            each.join()
        kept = [path.read_bytes() for path in (tmp_path / "r").glob("photo*")]
        assert 1 <= codes.count(200) == len(kept) and set(codes) <= {200, 422} and set(kept) <= set(photos)
        session = shared.session
        with Image.open(session.photo_path) as shown:
            assert session.photo.rgb.shape[1] == shown.width and not session.working


def test_another_photo_leaves_what_was_done_on_the_one_before(tmp_path):
    session = drawn_session(tmp_path)
    with Shared(session) as shared:
        done = (session.folder / "trace.json").read_bytes()
        assert shared.told("upload", "POST", picture())["phase"] == "start"
        assert (session.folder / "trace-2.json").read_bytes() == done and not (session.folder / "trace.json").exists()
        shared.told("upload", "POST", picture())  # nothing was done on that one
        assert [path.name for path in session.folder.glob("trace*")] == ["trace-2.json"]
    (session.folder / "trace-2.json").rename(session.folder / "trace.json")
    again, begin = open_folder(session.folder)
    again.begin(**begin)
    assert len(again.states) == 2 and again.photo_path == tmp_path / "sedge.jpg"


def test_other_rockets_are_the_computer_s_alone(tmp_path):
    drawn_session(tmp_path / "a").folder.rename(tmp_path / "secret")
    with Shared(Session(tmp_path / "rocket")) as shared:
        assert [each["folder"] for each in shared.from_here("earlier")["rockets"]] == ["secret"]
        assert shared.told("earlier") == {"rockets": []}
        status, _, said = shared.ask("open", "POST", {"folder": "secret"})
        assert status == 422 and b"secret" not in said and shared.told()["folder"] == "rocket"
        assert shared.from_here("open", method="POST", body={"folder": "secret"})["folder"] == "secret"
        until(lambda: shared.told()["phase"] == "ready")  # what the computer opens the phone sees
        edition = shared.told()["edition"]
        shared.told("another", "POST", {})
        assert shared.ask("change", "POST", CORNER, to=HERE, source=HERE, If_Match=str(edition))[0] == 412


def test_no_path_of_the_computer_s_goes_into_the_network(tmp_path):
    """A photo that is cut off, and a folder that can't be written to."""
    with Shared(Session(tmp_path / "rocket")) as shared:
        cut = picture()[:3000]
        status, _, said = shared.ask("upload", "POST", cut)
        assert status == 422 and "rocket/photo.png" in json.loads(said)["refused"]["what"]
        assert str(tmp_path).encode() not in said
        assert str(tmp_path).encode() in shared.ask("upload", "POST", cut, to=HERE, source=HERE)[2]
        shared.session.refused = {"what": f"{tmp_path}/rocket: can't be written", "remedy": "choose another"}
        assert shared.told()["refused"]["what"] == "rocket: can't be written"
        assert str(tmp_path) in shared.from_here()["refused"]["what"]


def test_photos_of_the_network_do_not_fill_the_disk(tmp_path, monkeypatch):
    monkeypatch.setattr(bodies, "IN_ALL", 2)
    with Shared(Session(tmp_path / "r")) as shared:
        assert [shared.ask("upload", "POST", picture())[0] for _ in range(3)] == [200, 200, 422]
        assert shared.ask("upload", "POST", picture(), to=HERE, source=HERE)[0] == 200


# --- photos of a phone ------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize(("size", "form"), [((4032, 3024), "HEIF"), ((8160, 6144), "JPEG"), ((8160, 6144), "HEIF")])
def test_photos_of_12_and_50_megapixels_are_taken(tmp_path, size, form):
    import pillow_heif

    pillow_heif.register_heif_opener()
    data = io.BytesIO()
    Image.linear_gradient("L").resize(size).convert("RGB").save(data, form, quality=60)
    with Shared(Session(tmp_path / "r")) as shared:
        told = shared.told("upload", "POST", data.getvalue())
        assert (told["photo"]["width"], told["photo"]["height"]) == size
        assert told["photo"]["name"] == ("photo.heic" if form == "HEIF" else "photo.jpg")
        shown = Image.open(io.BytesIO(shared.ask("photo.jpg")[2]))
        assert max(shown.size) <= server.LONGEST_SHOWN_PX


# --- addresses --------------------------------------------------------------------------------------------------------


def found(*addresses, default=None):
    every = [IPv4Interface(each) for each in addresses]
    return [str(each) for each in local_addresses(lambda: every, lambda: default)]


def test_the_address_of_the_default_route_comes_first_and_only_local_ones_count():
    """Which ranges no router passes on to the internet: RFC 1918 (private), RFC 3927 (link-local)."""
    several = ("127.0.0.1/8", "172.17.0.1/16", "192.168.1.20/24", "10.0.0.5/8", "169.254.3.4/16", "93.184.216.34/24")
    assert found(*several, default="192.168.1.20") == ["192.168.1.20/24", "172.17.0.1/16", "10.0.0.5/8"]
    assert found(*several)[0] == "172.17.0.1/16"
    assert found("10.8.0.2/32", "192.168.1.20/24", default="10.8.0.2") == ["192.168.1.20/24"]  # a tunnel's end
    assert found("192.168.1.20/24", "192.168.1.20/24") == ["192.168.1.20/24"]


@pytest.mark.parametrize(
    ("addresses", "says"),
    [((), "in no network"), (("127.0.0.1/8",), "in no network"), (("93.184.216.34/24",), "93.184.216.34"),
     (("10.8.0.2/32",), "10.8.0.2")],
)  # fmt: skip
def test_no_local_network_is_one_line_and_exit_2(tmp_path, capsys, monkeypatch, addresses, says):
    with pytest.raises(UsageRefusal):
        found(*addresses)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(own_addresses, "system_addresses", lambda: [IPv4Interface(each) for each in addresses])
    assert cli.main(["trace", "--phone", "--no-open"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and says in err and "Join the phone's Wi-Fi" in err
    assert not list(tmp_path.iterdir())


def test_what_the_system_says_of_its_addresses_is_understood():
    every = own_addresses.system_addresses()
    assert IPv4Interface("127.0.0.1/8") in every
    default = own_addresses.default_route()
    assert default is None or default in {str(each.ip) for each in every}


def test_all_addresses_share_a_port_and_one_that_can_t_be_had_is_left_out():
    there, nowhere = IPv4Interface(f"{LAN}/24"), IPv4Interface("192.0.2.77/24")  # RFC 5737: nobody's
    sockets, had = listen_also(0, (there, nowhere))
    try:
        port = sockets[0].getsockname()[1]
        assert [each.getsockname() for each in sockets] == [(HERE, port), (LAN, port)] and had == [there]
        with pytest.raises(UsageRefusal, match=str(port)):
            listen_also(port, (there,))
    finally:
        for each in sockets:
            each.close()
    with pytest.raises(UsageRefusal, match=r"192\.0\.2\.77"):
        listen_also(0, (nowhere, there))
    with listen(0, LAN) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(UsageRefusal, match=f"{port} can't be used at {LAN}"):
            listen_also(port, (there,))


# --- the command ------------------------------------------------------------------------------------------------------

PROGRAM = f"""
import sys
from ipaddress import IPv4Interface
from digitize.trace import addresses
addresses.local_addresses = lambda: (IPv4Interface("{LAN}/24"), IPv4Interface("{OTHER}/24"))
from digitize.cli import main
sys.exit(main())
"""


def test_the_command_says_the_address_and_what_it_means_and_ends_with_a_phone_holding_on(tmp_path):
    argv = [sys.executable, "-c", PROGRAM, "trace", "--phone", "--no-open", "--out", str(tmp_path / "r")]
    with subprocess.Popen(argv, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ) as process:
        try:
            lines = iter(process.stdout.readline, "")
            said = ""
            for line in lines:
                said += line
                if "firewall" in line:
                    break
            own, *theirs = re.findall(r"^http://(\S+?):(\d+)/([\w-]{24})/$", said, re.MULTILINE)
            assert own[0] == HERE and [host for host, _, _ in theirs] == [LAN, OTHER]
            assert theirs[0][2] == theirs[1][2] != own[2]
            plain = " ".join(said.split())
            for words in ("open to your local network", "unencrypted", "could read the photo", "other networks too"):
                assert words in plain
            assert "\x1b" not in said  # no colours into a file
            for odd in (b"\x16\x03\x01\x02\x00\x01\xff\r\n\r\n", b"GET / HTTP/1.1\r\nHost: x\r\nUpgrade: websocket\r\n"
                        b"Connection: upgrade\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", b"\0" * 200_000):  # fmt: skip
                with socket.create_connection((LAN, int(own[1])), 20) as stranger, suppress(ConnectionError):
                    stranger.sendall(odd)
                    assert not stranger.recv(20).startswith(b"HTTP/1.1 2")
            with socket.create_connection((LAN, int(own[1])), 20) as slow:
                slow.sendall(b"POST /")
                process.send_signal(signal.SIGINT)
                assert process.wait(20) in (0, 130)
            assert process.stderr.read() in ("", "digitize: interrupted.\n")  # strangers don't write on the terminal
        finally:
            process.kill()
    with pytest.raises(OSError):
        socket.create_connection((LAN, int(own[1])), 5)
