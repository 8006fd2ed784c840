"""The page's handlers in process: what they answer, and what they refuse to anyone but the page itself."""

import io
import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request

import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient
from trace_scene import ASKED, FOCAL_PX, HEIGHT, WIDTH, drawn, fin_px, photo_file, seen

from digitize import cli
from digitize.errors import Refusal
from digitize.photo.calibration import CameraFile, read_camera, write_camera
from digitize.pipeline import camera_of
from digitize.request.option_table import KEPT, OPTIONS, texts
from digitize.request.options import measure_options
from digitize.trace import server
from digitize.trace.reopened import open_folder
from digitize.trace.serve import listen
from digitize.trace.session import Session

HOST, TOKEN = "127.0.0.1:8123", "a-token-of-the-test"
HERE = {"Origin": f"http://{HOST}"}


def client_of(session):
    app = server.application(session, frozenset({HOST}), TOKEN)
    return TestClient(app, base_url=f"http://{HOST}")


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    folder = tmp_path_factory.mktemp("server")
    session = Session(folder / "results")
    session.load_photo(photo_file(folder))
    session.begin(ASKED, drawn())
    session.change({"do": "draw-fin", "points": fin_px().tolist(), "count": 4})
    return session


@pytest.fixture(scope="module")
def client(session):
    return client_of(session)


def test_the_page_and_all_it_needs_are_served_with_a_strict_policy(client):
    page = client.get(f"/{TOKEN}/")
    assert page.status_code == 200 and page.headers["content-type"].startswith("text/html")
    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy
    names = set(re.findall(r"static/([\w.]+)", page.text))
    todo = list(names)
    for name in todo:
        answer = client.get(f"/{TOKEN}/static/{name}")
        assert answer.status_code == 200 and answer.headers["x-content-type-options"] == "nosniff"
        todo += set(re.findall(r'from "\./([\w.]+)"', answer.text)) - set(todo)
    names = set(todo)
    assert names == set(server.static_pages()) - {"index.html"}
    for name in names:
        text = client.get(f"/{TOKEN}/static/{name}").text
        assert "://" not in text.replace("http://www.w3.org/2000/svg", "") and "innerHTML" not in text
    assert not re.search(r"<script(?![^>]*src=)|style=|onclick=|http", page.text)


def test_state_photo_change_undo_save_download(client, session):
    before = client.get(f"/{TOKEN}/state").json()
    assert before["phase"] == "ready" and before["states"] == 2
    shown = Image.open(io.BytesIO(client.get(f"/{TOKEN}/photo.jpg").content))
    assert shown.size == (before["photo"]["width"], before["photo"]["height"])
    change = {"do": "move-fin-point", "group": 0, "fin": 0, "point": 1, "to": seen(380.0, 75.0).tolist()}
    seen_ = client.post(f"/{TOKEN}/preview", json=change, headers=HERE).json()
    assert client.get(f"/{TOKEN}/state").json()["states"] == 2
    after = client.post(f"/{TOKEN}/change", json=change, headers=HERE).json()
    assert after["result"]["cp"]["x_mm"]["value"] == seen_["result"]["cp"]["x_mm"]["value"]
    assert after["result"]["cp"]["x_mm"]["value"] > before["result"]["cp"]["x_mm"]["value"] + 3
    undone = client.post(f"/{TOKEN}/go", json={"to": 1}, headers=HERE).json()
    assert undone["result"]["cp"] == before["result"]["cp"]
    assert client.get(f"/{TOKEN}/download/result.json").status_code == 404
    assert client.post(f"/{TOKEN}/save", json={}, headers=HERE).json()["saved"]
    got = client.get(f"/{TOKEN}/download/result.json")
    assert got.json()["cp"] == before["result"]["cp"]
    assert client.get(f"/{TOKEN}/download/templates.pdf").content.startswith(b"%PDF-")
    assert "attachment" in client.get(f"/{TOKEN}/download/report.html").headers["content-disposition"]


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("GET", f"/{TOKEN}/state", {"Host": "evil.example"}, 421),
        ("GET", f"/{TOKEN}/state", {"Host": "127.0.0.1:1"}, 421),
        ("GET", f"/{TOKEN}/state", {"Sec-Fetch-Site": "cross-site"}, 403),
        ("GET", f"/{TOKEN}/photo.jpg", {"Origin": "http://evil.example"}, 403),
        ("POST", f"/{TOKEN}/save", {"Origin": "http://evil.example"}, 403),
        ("POST", f"/{TOKEN}/save", {"Origin": "null"}, 403),
        ("POST", f"/{TOKEN}/save", {}, 403),
        ("GET", "/", {}, 404),
        ("GET", "/another-token/state", {}, 404),
        ("GET", f"/{TOKEN}x/state", {}, 404),
        ("POST", "/another-token/save", HERE, 404),
        ("GET", f"/{TOKEN}/save", {}, 405),
        ("GET", f"/{TOKEN}/download/..%2f..%2fetc%2fpasswd", {}, 404),
        ("GET", f"/{TOKEN}/download/trace.json", {}, 404),
        ("GET", f"/{TOKEN}/download/%2e%2e/result.json", {}, 404),
        ("GET", f"/{TOKEN}/static/..%2fserver.py", {}, 404),
        ("GET", f"/{TOKEN}/static/%2fetc%2fpasswd", {}, 404),
    ],
)
def test_hostile_requests_are_refused(client, method, path, headers, status):
    answer = client.request(method, path, headers=headers)
    assert answer.status_code == status
    assert b"root:" not in answer.content and b"import" not in answer.content


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b"[" * 100_000, b'"x"', b'{"do": "move-body", "point": 1e999}'])
@pytest.mark.parametrize("path", ["change", "preview", "go", "measure"])
def test_nonsense_is_refused_in_one_line(client, session, path, body):
    before = len(session.states)
    answer = client.post(f"/{TOKEN}/{path}", content=body, headers=HERE)
    assert answer.status_code == 422 and set(answer.json()["refused"]) == {"what", "remedy"}
    assert len(session.states) == before and not session.working


def test_the_form_can_t_name_files(client):
    for words in ({"camera": "/etc/passwd"}, {"out": "x"}, {"shots": "a.toml"}, {"photo": "b.jpg"}, {"scale": [3]}):
        answer = client.post(f"/{TOKEN}/measure", json={"words": words}, headers=HERE)
        assert answer.status_code == 422 and answer.json()["refused"]["what"], words


MOTORS = {"motor": ["small,18g,9g,70mm,5mm", "large,40g,20g,70mm,5mm"], "balanced_with": "large"}
WEIGHTS = [
    ({}, {}, []),
    ({}, {"margin": "6", "fill": "lead-shot", "wall": "1mm"},
     ["--margin", "6", "--fill", "lead-shot", "--wall", "1mm"]),
    ({}, {"margin": "5", "at": "30mm"}, ["--margin", "5", "--at", "30mm"]),
    (MOTORS, {"margin": "4.5", "density": "2g/cm3", "depth": "60mm"},
     ["--margin", "4.5", "--density", "2g/cm3", "--depth", "60mm"]),
]  # fmt: skip


@pytest.mark.parametrize(("told", "words", "argv"), WEIGHTS)
def test_nose_weight_is_what_the_command_says_of_the_saved_folder(tmp_path, capsys, told, words, argv):
    session = Session(tmp_path / "results")
    session.load_photo(photo_file(tmp_path))
    session.begin({**ASKED, **told}, drawn())
    session.change({"do": "draw-fin", "points": fin_px().tolist(), "count": 4})
    client = client_of(session)
    said = client.post(f"/{TOKEN}/weight", json={"words": words}, headers=HERE).json()
    assert not (tmp_path / "results" / "result.json").exists()  # nothing need be saved for it
    session.save()
    assert cli.main(["ballast", str(session.folder), "--json", *argv]) == 0
    assert said["plan"] == json.loads(capsys.readouterr().out)
    assert cli.main(["ballast", str(session.folder), *argv]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    for line in (said["headline"], *said["notes"], *said["fins"]):
        assert line in printed
    assert len(said["states"]) == (4 if told else 1)
    curve = said["plan"]["curve"]
    for key in ("margin_calibers", "low_calibers"):
        each = np.array([state[key] for state in said["states"]])
        worst = np.argmin([state["low_calibers"] for state in said["states"]], axis=0)
        # the grams themselves are rounded in the file
        assert np.choose(worst, each) == pytest.approx(np.array(curve[key]), abs=2e-4)


def test_nose_weight_follows_a_change(client, session):
    ask = lambda: client.post(f"/{TOKEN}/weight", json={"words": WEIGHTS[2][1]}, headers=HERE).json()["plan"]  # noqa: E731
    before, at = ask(), session.at
    session.change({"do": "move-fin-point", "group": 0, "fin": 0, "point": 1, "to": seen(385.0, 35.0).tolist()})
    after = ask()
    session.go(at)
    assert after["weight"]["mass_g"] > before["weight"]["mass_g"] + 1
    assert ask() == before


@pytest.mark.parametrize(
    ("took", "fields"), [(["mass"], ["mass"]), (["balance"], ["balance"]), (["mass", "balance"], ["balance", "mass"])]
)
def test_nose_weight_says_which_fields_are_missing(client, session, took, fields):
    at = session.at
    session.change({"do": "ask", "words": dict.fromkeys(took, "")})
    assert client.post(f"/{TOKEN}/weight", json={"words": {}}, headers=HERE).json() == {"missing": fields}
    session.go(at)


@pytest.mark.parametrize(
    "words",
    [
        None, [], {"margin": 1}, {"margin": "nan"}, {"margin": "x"}, {"margin": "99"}, {"fill": "gold"}, {"at": "30"},
        {"at": "9m"}, {"wall": "40mm"}, {"depth": "-3mm"}, {"density": "99g/cm3"}, {"at": "3mm", "fill": "clay"},
        {"mass": "1g"}, {"balance": "1mm"}, {"at": "9" * 200},
    ],
)  # fmt: skip
def test_odd_nose_weights_are_refused(client, words):
    answer = client.post(f"/{TOKEN}/weight", json={"words": words}, headers=HERE)
    assert answer.status_code == 422 and set(answer.json()["refused"]) == {"what", "remedy"}


def test_nose_weight_before_there_are_numbers(tmp_path):
    answer = client_of(Session(tmp_path)).post(f"/{TOKEN}/weight", json={"words": {}}, headers=HERE)
    assert answer.status_code == 422


def camera_file(path, focal=FOCAL_PX) -> bytes:
    write_camera(path, CameraFile(float(focal), 0.0, WIDTH, HEIGHT, 0.003, 0.005, 8, 0.2))
    return path.read_bytes()


def test_a_calibration_chosen_on_the_page_is_kept_and_named_as_the_command_names_it(tmp_path):
    content = camera_file(tmp_path / "lens.toml")
    folder = tmp_path / "rocket"
    session = Session(folder)
    session.load_photo(photo_file(tmp_path))
    client = client_of(session)
    send = lambda content: client.post(f"/{TOKEN}/camera", content=content, headers=HERE)  # noqa: E731
    assert send(content).json() == {"chosen": "camera.toml", "cameras": ["camera.toml"]}
    assert (folder / "camera.toml").read_bytes() == content
    assert send(content).json()["chosen"] == "camera.toml"
    other = camera_file(tmp_path / "other.toml", 1.01 * FOCAL_PX)
    assert send(other).json() == {"chosen": "camera-2.toml", "cameras": ["camera.toml", "camera-2.toml"]}
    assert (folder / "camera.toml").read_bytes() == content  # never written over
    assert client.get(f"/{TOKEN}/state").json()["chosen"] == "camera-2.toml"  # as a reload shows it
    session.begin({**ASKED, "camera": "camera.toml"}, drawn())
    session.change({"do": "draw-fin", "points": fin_px().tolist(), "count": 4})
    shown = client.get(f"/{TOKEN}/state")
    assert shown.json()["asked"]["camera"] == "camera.toml" and shown.json()["chosen"] is None
    session.save()
    saved = json.loads((folder / "result.json").read_text())
    options = measure_options([session.photo_path], **{**ASKED, "camera": folder / "camera.toml"})
    assert saved["photo"]["asked"]["camera"] == texts(options)["camera"]
    named = camera_of(session.photo, options).source
    assert any(named in line for line in saved["assumptions"])
    moved = tmp_path / "moved"
    folder.rename(moved)  # the whole folder may be put elsewhere
    again, begin = open_folder(moved)
    again.begin(**begin)
    assert again.cameras.as_form(again.texts)["camera"] == "camera.toml" and "camera-2.toml" in again.cameras
    assert again.full.cp_x_mm == session.full.cp_x_mm


def test_what_is_no_calibration_is_said_as_the_command_says_it(tmp_path, monkeypatch):
    good = camera_file(tmp_path / "camera.toml")
    session = Session(tmp_path / "rocket")
    client = client_of(session)
    for bad in (
        b"", b"\xff\xfe", b"a = [" + b"[" * 9000, picture((9, 9)), good.replace(b"k1 = 0.0\n", b""),
        good.replace(b"k1 = 0.0", b"k1 = nan"), good.replace(b"photos = 8", b"photos = 8.5"),
        good.replace(b"focal_sigma = 0.003", b"focal_sigma = 3"), good + b"more = 1\n",
    ):  # fmt: skip
        path = tmp_path / "bad.toml"
        path.write_bytes(bad)
        with pytest.raises(Refusal) as caught:
            read_camera(path)
        answer = client.post(f"/{TOKEN}/camera", content=bad, headers=HERE)
        assert answer.status_code == 422
        said = answer.json()["refused"]
        assert said == {"what": caught.value.what.replace(str(path), "the file"), "remedy": caught.value.remedy}
    assert client.post(f"/{TOKEN}/camera", content=b"#" * 20_001, headers=HERE).status_code == 413
    assert not (tmp_path / "rocket").exists() and not session.cameras


def test_the_form_holds_all_that_measure_can_be_told():
    """But for what names photos and folders or is the command line's alone; the PDF's paper goes with saving, and the
    units have a switch of their own."""
    told = {name for name in OPTIONS if name not in ("shots", "jobs", "out", "json", "quiet", "units", "pdf", "paper")}
    fields = json.loads(re.search("FIELDS = (.*);", server.static_pages()["options.js"].decode())[1])
    assert {field["name"] for field in fields} | {"scale"} == told == set(KEPT)
    form = server.static_pages()["form.js"].decode()
    assert all(f'part("{field["part"]}")' in form for field in fields)
    assert {'id="paper"', 'id="units"'} <= set(re.findall(r'id="\w+"', server.static_pages()["index.html"].decode()))


def test_the_report_as_pdf_is_saved_when_asked_for(client, session):
    for paper in ("a3", 4):
        assert client.post(f"/{TOKEN}/save", json={"paper": paper}, headers=HERE).status_code == 422
    assert client.post(f"/{TOKEN}/save", json={"paper": "letter"}, headers=HERE).json()["paper"] == "letter"
    got = client.get(f"/{TOKEN}/download/report.pdf")
    assert b"/MediaBox [ 0 0 612 792 ]" in got.content
    assert open_folder(session.folder)[0].paper == "letter"
    client.post(f"/{TOKEN}/save", json={}, headers=HERE)
    assert client.get(f"/{TOKEN}/download/report.pdf").status_code == 404


def picture(size, form="PNG") -> bytes:
    data = io.BytesIO()
    Image.new("RGB", size, (200, 200, 200)).save(data, form)
    return data.getvalue()


def test_uploads(tmp_path, monkeypatch):
    session = Session(tmp_path / "rocket")
    client = client_of(session)
    send = lambda content: client.post(f"/{TOKEN}/upload", content=content, headers=HERE)  # noqa: E731
    assert client.get(f"/{TOKEN}/state").json()["phase"] == "start"
    assert client.get(f"/{TOKEN}/photo.jpg").status_code == 404
    for content in (b"", b"MZ\x00", b"%PDF-1.4", b"<svg xmlns='http://www.w3.org/2000/svg'/>", picture((9, 9))[:60]):
        assert send(content).status_code == 422
    assert not list(tmp_path.glob("rocket/*"))
    assert send(picture((300, 200))).json()["photo"] == {"name": "photo.png", "width": 300, "height": 200}
    first = (tmp_path / "rocket" / "photo.png").read_bytes()
    assert send(picture((310, 200))).json()["photo"]["name"] == "photo-2.png"
    assert (tmp_path / "rocket" / "photo.png").read_bytes() == first
    monkeypatch.setattr(server, "LARGEST_UPLOAD", 1000)
    assert send(b"\xff" * 1001).status_code == 413
    chunks = (b"\xff" * 400 for _ in range(4))  # no length said beforehand
    assert client.post(f"/{TOKEN}/upload", content=chunks, headers=HERE).status_code == 413
    monkeypatch.setattr("digitize.photo.read.LARGEST_FILE_PX", 50_000)
    monkeypatch.setattr(server, "LARGEST_UPLOAD", 10**6)
    assert send(picture((300, 300))).status_code == 422
    assert len(list(tmp_path.glob("rocket/*"))) == 2
    session.working = True
    assert "still being measured" in send(picture((200, 200))).json()["refused"]["what"]
    assert len(list(tmp_path.glob("rocket/*"))) == 2 and session.photo_path.name == "photo-2.png"


def test_only_this_machine_can_connect():
    with listen(0) as made:
        assert made.getsockname()[0] == "127.0.0.1"
        assert made.proto == socket.IPPROTO_TCP  # else asyncio leaves small packets waiting, 40 ms an answer


def test_the_command_serves_until_it_is_interrupted(tmp_path):
    program = "import sys; from digitize.cli import main; sys.exit(main())"
    photo, out = str(photo_file(tmp_path)), str(tmp_path / "r")
    argv = [sys.executable, "-c", program, "trace", photo, "--no-open", "--out", out]
    with subprocess.Popen(argv, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ) as process:
        try:
            address = process.stdout.readline().strip()
            assert re.fullmatch(r"http://127\.0\.0\.1:\d+/[\w-]{20,}/", address)
            with urllib.request.urlopen(address + "state", timeout=20) as answer:
                assert b'"phase":"start"' in answer.read()
            process.send_signal(signal.SIGINT)
            assert process.wait(20) in (0, 130)
            assert "Traceback" not in process.stderr.read()
        finally:
            process.kill()
    assert not (tmp_path / "r").exists()  # nothing was changed, so nothing is written


@pytest.mark.parametrize(
    ("argv", "code", "says"),
    [
        (["{tmp}/none.jpg"], 3, "none.jpg"),
        (["{tmp}"], 2, "not a results folder"),
        (["{tmp}", "--out", "x"], 2, "leave it out"),
        (["--port", "70000"], 2, "--port"),
        (["{tmp}/text.jpg"], 3, "text.jpg"),
        (["--camera", "{tmp}/none.toml"], 3, "none.toml"),
    ],
)
def test_what_can_t_be_opened_is_one_line(tmp_path, capsys, monkeypatch, argv, code, says):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "text.jpg").write_text("no picture")
    got = cli.main(["trace", "--no-open", *(word.format(tmp=tmp_path) for word in argv)])
    out, err = capsys.readouterr()
    assert (got, out) == (code, "") and err.count("\n") == 1 and says.lower() in err.lower()


def test_a_port_in_use_is_said(tmp_path, capsys):
    with listen(0) as taken:
        port = str(taken.getsockname()[1])
        assert cli.main(["trace", "--no-open", "--port", port, "--out", str(tmp_path / "r")]) == 2
    assert port in capsys.readouterr().err
