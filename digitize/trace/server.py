"""The page's server: thin handlers over a session. Paths from the browser are never opened; names come from lists."""

import io
import json
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import Any

from PIL import Image
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from digitize.errors import Refusal, UsageRefusal
from digitize.printed.pattern_files import templates_pdf
from digitize.printed.patterns import pieces_of, sheets
from digitize.report.folder import OWN, REPORT
from digitize.result.from_json import read_saved
from digitize.trace.bodies import Allowance, TooLarge, TooSlow, body_of, suffix_of
from digitize.trace.form_fields import form_fields_js
from digitize.trace.guard import Door, Guard
from digitize.trace.phone import Phone, without_folders
from digitize.trace.qr import as_svg
from digitize.trace.session import Session
from digitize.trace.shelf import Shelf
from digitize.trace.versions import Stale, Versions
from digitize.trace.view import brief, view
from digitize.trace.weight import nose_weight
from digitize.units.sentences import in_words
from digitize.units.shown_units import UNITS, shown_in

LARGEST_UPLOAD = 120_000_000
LARGEST_JSON = 400_000
LARGEST_CALIBRATION = 20_000
LONGEST_SHOWN_PX = 4096
COMPUTER, PHONE = "computer", "phone"
"""Which way a page was opened: on this machine's own address, or in the local network."""
STATIC = Path(__file__).parent / "static"
_TYPES = {".html": "text/html", ".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
_DOWNLOADS = {
    ".json": "application/json", ".toml": "text/plain", ".png": "image/png", ".svg": "image/svg+xml",
    ".html": "text/html", ".pdf": "application/pdf",
}  # fmt: skip
TEMPLATES = "templates.pdf"
"""Made when asked for, from what was saved."""


def application(session: Session, hosts: frozenset[str], token: str, phone: Phone | None = None):
    """The whole of it as an ASGI application. hosts, token: accepted Host headers, and the token, of this machine's own
    address; phone: those of the local network, None: it is not served there."""
    handlers = Handlers(session, phone)
    post: dict[str, Any] = {"methods": ["POST"]}
    routes = [
        Route("/", handlers.page),
        Route("/static/{name}", handlers.static),
        Route("/state", handlers.state),
        Route("/version", handlers.version),
        Route("/qr/{number:int}.svg", handlers.qr),
        Route("/photo.jpg", handlers.photo),
        Route("/download/{name}", handlers.download),
        Route("/upload", handlers.upload, **post),
        Route("/measure", handlers.measure, **post),
        Route("/preview", handlers.preview, **post),
        Route("/change", handlers.change, **post),
        Route("/go", handlers.go, **post),
        Route("/weight", handlers.weight, **post),
        Route("/units", handlers.units, **post),
        Route("/camera", handlers.camera, **post),
        Route("/save", handlers.save, **post),
        Route("/stop", handlers.stop, **post),
        Route("/earlier", handlers.earlier),
        Route("/open", handlers.open, **post),
        Route("/another", handlers.another, **post),
    ]
    app = Starlette(routes=routes, exception_handlers={Refusal: handlers.refused, ClientDisconnect: _gone})
    doors = [Door(COMPUTER, hosts, token)]
    if phone is not None:
        doors.append(Door(PHONE, frozenset(phone.hosts), phone.token, phone.interfaces, phone.came))
    return Guard(app, *doors)


class Handlers:
    """One for each route."""

    def __init__(self, session: Session, phone: Phone | None = None):
        self.shelf, self.phone, self.versions = Shelf(session), phone, Versions()
        self.allowance = Allowance()

    @property
    def session(self) -> Session:
        """The rocket that is shown now."""
        return self.shelf.session

    async def shown(self, request: Request) -> Response:
        """All that the page shows."""
        return JSONResponse(await run_in_threadpool(self._told, request.scope["door"]))

    def _told(self, door: str) -> dict:
        session = self.session
        with session.lock:
            seen = {**self.versions.now(session), "door": door, "shared": self.phone is not None, **view(session)}
            if door == PHONE:
                return {**seen, "refused": without_folders(seen["refused"], session)}
            return seen if self.phone is None else {**seen, "phone": self.phone.as_json()}

    async def doing(self, request: Request, work) -> Response:
        """What the request changes, if it was made on what is there now; then all that the page shows."""
        await run_in_threadpool(self._doing, _edition(request), work)
        return await self.shown(request)

    def _doing(self, edition: int | None, work):
        with self.shelf.lock, self.session.lock:  # else another rocket may come between
            self.versions.check(self.session, edition)
            return work()

    async def version(self, request: Request) -> Response:
        """Whether there is something new to show; asked again and again, so it is little."""
        devices = list(self.phone.devices) if self.phone and request.scope["door"] == COMPUTER else []
        return JSONResponse({**await run_in_threadpool(self.versions.now, self.session), "devices": devices})

    async def qr(self, request: Request) -> Response:
        """The address for the phone as a picture, for this machine alone."""
        number = request.path_params["number"]
        if self.phone is None or request.scope["door"] != COMPUTER or number >= len(self.phone.addresses):
            return Response(status_code=404)
        return Response(as_svg(self.phone.addresses[number]), media_type=_TYPES[".svg"])

    async def page(self, request: Request) -> Response:
        return _static("index.html")

    async def static(self, request: Request) -> Response:
        return _static(request.path_params["name"])

    async def state(self, request: Request) -> Response:
        return await self.shown(request)

    async def photo(self, request: Request) -> Response:
        photo = self.session.photo
        if photo is None:
            return Response(status_code=404)
        return Response(await run_in_threadpool(_jpeg, _Picture(photo)), media_type="image/jpeg")

    async def upload(self, request: Request) -> Response:
        """The photo as the request's body; nothing is said of its name, and it is kept under one of our own."""
        take = self.allowance.body_of if request.scope["door"] == PHONE else body_of
        content = await take(request, LARGEST_UPLOAD)
        await run_in_threadpool(self._doing, _edition(request), lambda: None)
        await run_in_threadpool(_take_photo, self.session, content)
        return await self.shown(request)

    async def camera(self, request: Request) -> Response:
        """A calibration's file as the request's body."""
        content = await body_of(request, LARGEST_CALIBRATION)
        name = await run_in_threadpool(self.session.take_camera, content)
        return JSONResponse({"chosen": name, "cameras": list(self.session.cameras)})

    async def measure(self, request: Request) -> Response:
        told = await _json(request)
        if told.get("seen") is True:
            return await self.doing(request, lambda: self.session.begin_seen_in_background(told.get("words")))
        drawn = self.session.beginning.drawn if told.get("again") is True else told.get("drawn")
        lists = [tuple(told[k]) if isinstance(told.get(k), list) else () for k in ("regions", "pulls")]
        words = told.get("words")
        return await self.doing(request, lambda: self.session.begin_in_background(words, drawn, *lists, go_on=True))

    async def preview(self, request: Request) -> Response:
        change = await _json(request)

        def work():
            traced, result = self.session.preview(change)
            return brief(self.session, change, traced, result)

        return JSONResponse(await run_in_threadpool(self._doing, _edition(request), work))

    async def change(self, request: Request) -> Response:
        change = await _json(request)
        return await self.doing(request, lambda: self.session.change(change))

    async def go(self, request: Request) -> Response:
        to = (await _json(request)).get("to")
        if isinstance(to, bool) or not isinstance(to, int):
            raise UsageRefusal("no such state", "reload the page")
        return await self.doing(request, lambda: self.session.go_or_begin_to(to))

    async def weight(self, request: Request) -> Response:
        """Nose weight for the numbers shown; nothing is changed or kept."""
        words = (await _json(request)).get("words")
        return JSONResponse(await run_in_threadpool(_weight, self.session, words))

    async def units(self, request: Request) -> Response:
        """What is shown in inches or millimetres from now on, and saved to be."""
        units = (await _json(request)).get("units")
        if units not in UNITS:
            raise UsageRefusal("the units are not understood", "reload the page")
        self.session.units = units
        return await self.shown(request)

    async def refused(self, request: Request, refusal: Exception) -> Response:
        assert isinstance(refusal, Refusal)  # for which alone this handler is named
        status = next((code for kind, code in _STATUS.items() if isinstance(refusal, kind)), 422)
        with shown_in(self.session.units):
            said: dict | None = {"what": in_words(refusal.what), "remedy": in_words(refusal.remedy)}
        if request.scope["door"] == PHONE:
            said = without_folders(said, self.session)
        return JSONResponse({"refused": said}, status)

    async def save(self, request: Request) -> Response:
        paper = (await _json(request)).get("paper")
        if not isinstance(paper, str | None):
            raise UsageRefusal("the paper is not understood", "reload the page")
        return await self.doing(request, lambda: self.session.save(paper))

    async def stop(self, request: Request) -> Response:
        """Give up the measuring that is going on."""
        await _json(request)
        self.session.stop()
        return await self.shown(request)

    async def earlier(self, request: Request) -> Response:
        """The rockets whose folders lie beside this one's, for this machine alone."""
        found = await run_in_threadpool(self.shelf.earlier) if request.scope["door"] == COMPUTER else []
        return JSONResponse({"rockets": [asdict(rocket) for rocket in found]})

    async def open(self, request: Request) -> Response:
        """One of them, by its name in that list."""
        name = (await _json(request)).get("folder")
        if not isinstance(name, str) or request.scope["door"] != COMPUTER:
            raise UsageRefusal("no such rocket", "reload the page")
        await run_in_threadpool(self.shelf.open, name)
        return await self.shown(request)

    async def another(self, request: Request) -> Response:
        await _json(request)
        await run_in_threadpool(self.shelf.another)
        return await self.shown(request)

    async def download(self, request: Request) -> Response:
        """A file of the results folder, by a name from the list."""
        name = request.path_params["name"]
        if name == TEMPLATES:
            content = await run_in_threadpool(_templates, self.session.folder)
            headers = {"Content-Disposition": f'attachment; filename="{name}"'}
            return Response(content, headers=headers, media_type="application/pdf")
        path = self.session.folder / name if name in OWN else None
        if path is None or not path.is_file():
            return Response("There is no such file; save first.\n", 404, media_type="text/plain")
        content = await run_in_threadpool(path.read_bytes)
        how = "inline" if name.endswith(".png") else "attachment"
        headers = {"Content-Disposition": f'{how}; filename="{name}"'}
        kind = "application/octet-stream" if name == REPORT else _DOWNLOADS[path.suffix]
        return Response(content, headers=headers, media_type=kind)


def _weight(session: Session, words) -> dict:
    result, geometry = session.shown()
    return nose_weight(session.folder, result, geometry, words)


def _templates(folder: Path) -> bytes:
    """The cut-out and the fins at true size, as PDF on A4. Raises Refusal."""
    saved = read_saved(folder)
    with shown_in(saved.result.units):
        return templates_pdf(tuple(sheet for piece in pieces_of(saved) for sheet in sheets(piece, "a4")))


@lru_cache(maxsize=1)
def static_pages() -> dict[str, bytes]:
    pages = {path.name: path.read_bytes() for path in STATIC.iterdir() if path.suffix in _TYPES}
    return pages | {"options.js": form_fields_js().encode()}


def _static(name: str) -> Response:
    content = static_pages().get(name)
    if content is None:
        return Response("Not found.\n", 404, media_type="text/plain")
    return Response(content, media_type=_TYPES[Path(name).suffix])


def _edition(request: Request) -> int | None:
    """What an edit says it was made on, as the header of that purpose has it (RFC 9110, If-Match); None if nothing."""
    said = request.headers.get("if-match", "").strip('"')
    return int(said) if said.isascii() and said.isdigit() and len(said) < 16 else None


async def _json(request: Request) -> dict:
    try:
        data = json.loads(await body_of(request, LARGEST_JSON))
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict):
        raise UsageRefusal("the request is not understood", "reload the page")
    return data


_STATUS = {TooLarge: 413, TooSlow: 408, Stale: 412}
"""Other refusals are 422."""


async def _gone(request: Request, error: Exception) -> Response:
    return Response(status_code=400)


def _take_photo(session: Session, content: bytes) -> None:
    """Keep the uploaded photo in the results folder, under a name of our own, and read it."""
    session.take_upload(content, suffix_of(content))


class _Picture:
    """A photo as a key of the cache."""

    def __init__(self, photo):
        self.photo = photo

    def __hash__(self):
        return id(self.photo)

    def __eq__(self, other):
        return self.photo is other.photo


@lru_cache(maxsize=1)
def _jpeg(picture: _Picture) -> bytes:
    image = Image.fromarray(picture.photo.rgb)
    if max(image.size) > LONGEST_SHOWN_PX:
        image.thumbnail((LONGEST_SHOWN_PX, LONGEST_SHOWN_PX), Image.Resampling.BOX)
    data = io.BytesIO()
    image.save(data, "JPEG", quality=90)
    return data.getvalue()
