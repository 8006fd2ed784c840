"""One rocket on the page: what was found, every change since, and where it is kept.

The history of changes is a file in the results folder, written after each, so nothing is lost when the page is
reloaded or the program ends. The measurement itself is made again from the photo when a folder is opened.
"""

import contextlib
import json
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from digitize.errors import GeometryRefusal, Refusal, UsageRefusal
from digitize.files import replace_file
from digitize.geometry.toml import rounded
from digitize.photo.read import read_photo
from digitize.pipeline import camera_of, fit_photo
from digitize.records import Geometry, Photo
from digitize.refused import Findings
from digitize.report.folder import check_out_dir, saved_paper, write_results
from digitize.request.parsers import parse_pdf
from digitize.result.from_json import units_of
from digitize.result.from_photo import Measured
from digitize.result_records import Result
from digitize.trace import edits
from digitize.trace.begun import Start, start_of
from digitize.trace.cameras import Cameras, unwritable
from digitize.trace.changed import changed_by_hand
from digitize.trace.drawn import drawn_of, measure_drawn
from digitize.trace.form_texts import checked_texts
from digitize.trace.found_file import keep_found, recall_found
from digitize.trace.history import HISTORY, Beginning, History, history_json, put_aside, read_history
from digitize.trace.photo_cache import PhotoCache
from digitize.trace.pull import fit_pulled, pulls_of
from digitize.trace.resolve import Traced, options_of, sketch_of, solve_briefly, solve_fully
from digitize.trace.session_states import Empty, PhotoRead, Ready, State
from digitize.trace.shown import Found, checked_result, solved_of, traced_of
from digitize.trace.sketch import Sketch
from digitize.trace.stopped import Stopped
from digitize.units.shown_units import MM

DRAWN_COUNT = 3
"""Fins of a group whose number nobody told."""
NO_NUMBERS = "there are no numbers yet"
MOST_HELD = 20
"""Outlines kept at hand for undo and redo, a few megabytes each; others are found again when they are gone back to."""


class Session:
    """Not a value: the one thing that changes. Every method may be called from any thread."""

    def __init__(self, folder: Path, photo_path: Path | None = None, texts: dict | None = None):
        self.folder, self.photo_path = folder, photo_path
        self.lock = threading.RLock()
        self.state: State = Empty()
        self.texts = dict(texts or {})
        self.cameras = Cameras(folder)
        self.paper = saved_paper(folder)
        self.units = units_of(folder)  # what is shown; None: nobody has said, and it is metric
        self.working, self.stage = False, ""
        self.refused: dict[str, str] | None = None
        self.stopping = False  # the work going on is given up as soon as it says where it is
        self.seen: Findings | None = None  # of a photo that is measured or was refused
        self.start: Start | None = None  # to begin from
        self.found: dict[int, Found] = {}  # by the beginning's number, the one used last at the end
        self.history = History()

    # --- beginning ----------------------------------------------------------------------------------------

    def load_photo(self, path: Path) -> None:
        """Take this photo; whatever was measured before is let go. Raises UnreadableRefusal."""
        photo = read_photo(path)
        cache = PhotoCache(photo)
        recall_found(self.folder, cache)
        with self.lock:
            self.photo_path, self.state, self.found = path, PhotoRead(photo, cache), {}
            self.history, self.seen, self.start, self.refused = History(), None, None, None

    def take_upload(self, content: bytes, suffix: str) -> None:
        """Keep an uploaded photo in the results folder and read it. Raises Refusal, and then it is not kept."""
        with self.lock:
            if self.working:  # else its numbers would come to lie over the new photo
                raise UsageRefusal("the photo before is still being measured", "wait until it is done")
            self.working, self.stage = True, "reading the photo"
        try:
            self._take(content, suffix)
        finally:
            self.working = False

    def _take(self, content: bytes, suffix: str) -> None:
        check_out_dir(self.folder)
        path = self.folder / f"photo{suffix}"
        if path.exists() and path.read_bytes() != content:
            path = next(p for n in range(2, 10_000) if not (p := self.folder / f"photo-{n}{suffix}").exists())
        new = not path.exists()
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            replace_file(path, content)
        except OSError as error:
            raise unwritable(self.folder, error) from None
        before = self.states
        try:
            self.load_photo(path)
        except Refusal:
            if new:
                path.unlink(missing_ok=True)
            raise
        if before:
            put_aside(self.folder)

    def choose_camera(self, path: Path) -> None:
        """The calibration to measure with unless the form says otherwise. Raises UnreadableRefusal."""
        self.cameras.choose(path)
        self.texts["camera"] = str(Path(path).resolve())

    def take_camera(self, content: bytes) -> str:
        """Keep a calibration's file in the results folder; gives its name. Raises Refusal, and then it is not kept."""
        with self.lock:
            return self.cameras.keep(content)

    def option_texts(self, texts: object) -> dict:
        """The form's texts as those of the options. Raises UsageRefusal."""
        return self.cameras.as_option(checked_texts(texts, self.cameras))

    @property
    def photo(self) -> Photo | None:
        return None if isinstance(self.state, Empty) else self.state.photo

    @property
    def traced(self) -> Traced | None:
        return self.state.traced if isinstance(self.state, Ready) else None

    @property
    def full(self) -> Result | None:
        return self.state.full if isinstance(self.state, Ready) else None

    @property
    def states(self) -> tuple[Sketch, ...]:
        return self.history.states

    @property
    def at(self) -> int:
        return self.history.at

    @property
    def beginning(self) -> Beginning:
        """What the outline that is shown was found with."""
        return self.history.beginning

    @property
    def base(self) -> Measured:
        """The outline that is shown, before anything was changed."""
        return self.found[self.history.now.beginning].measured

    def begin(
        self, texts: dict, drawn: dict | None = None, regions=(), pulls=(), kept: History | None = None, go_on=False
    ) -> None:
        """Measure, or take what was drawn; in this thread. Raises Refusal.

        kept: a history to take up again, its beginning shown measured under these words; go_on: what was done before
        stays in the history, so that undo leads back to it.
        """
        self._photo_read()
        beginning = Beginning(self.option_texts(texts), drawn, tuple(regions), tuple(pulls))
        found = self._found(beginning)
        with self.lock:
            self._go_on()
            if kept is not None and kept.states:
                number, history = kept.now.beginning, kept
            else:
                before = self.history if go_on else History(saved_at=None if kept is None else kept.saved_at)
                history = before.begun(beginning, found.start)
                if not before.states:
                    history = replace(history, saved_at=before.saved_at)
                number = history.now.beginning
            found = replace(found, start=replace(found.start, beginning=number))
            history = history.with_start(found.start)
            traced, full = solved_of(found, history.now)
            if not go_on:
                self.found = {}
            self._hold(number, found)
            self._show(history, traced, full)
            self.cameras.chosen = None
        self._keep()

    def _hold(self, number: int, found: Found) -> None:
        """Keep the outline at hand, and no more of them than there is room for."""
        self.found.pop(number, None)
        self.found[number] = found
        while len(self.found) > MOST_HELD:
            del self.found[next(iter(self.found))]

    def _show(self, history: History, traced: Traced, full: Result) -> None:
        read = self._photo_read()
        self.history, self.state = history, Ready(read.photo, read.cache, traced, full)
        self.refused, self.seen, self.start = None, None, None
        self.texts = history.beginning.texts
        self.found = {k: v for k, v in self.found.items() if k < len(history.beginnings)}

    def begin_in_background(self, texts: object, *args, **kwargs) -> None:
        """The same in a thread of its own; how it goes is in `view`. Raises UsageRefusal if one is running."""
        checked = checked_texts(texts, self.cameras)
        self._start(lambda: self.begin(checked, *args, **kwargs))

    def begin_seen(self, texts: dict) -> None:
        """Begin from what was seen of the photo that was refused, its body and then its fins, to be set right by hand.
        Raises Refusal."""
        if (start := self.start) is None:
            raise UsageRefusal("too little was seen to begin from", "draw the rocket by hand")
        with self.lock:  # it is shown once it is whole
            self.begin(texts, {**start.drawn, "seen": True}, go_on=True)
            counts = options_of(self._photo_read().photo, self.texts).fins or (DRAWN_COUNT,)
            for fin, count in zip(start.fins, (*counts, *counts[-1:] * len(start.fins)), strict=False):
                with contextlib.suppress(Refusal):  # what is no fin of a rocket is left to the hand
                    self.change({"do": "draw-fin", "points": fin, "count": count})

    def begin_seen_in_background(self, texts: object) -> None:
        checked = checked_texts(texts, self.cameras)
        self._start(lambda: self.begin_seen(checked), keep=True)

    def _start(self, work: Callable[[], None], keep: bool = False) -> None:
        """keep: what was seen before is what the work is about."""
        with self.lock:
            if self.working:
                raise UsageRefusal("the photo is being measured already", "wait until it is done")
            self.working, self.stage, self.refused, self.stopping = True, "starting", None, False
            if not keep:
                self.seen, self.start = None, None
        threading.Thread(target=self._work, args=(work,), daemon=True).start()

    def _work(self, work: Callable[[], None]) -> None:
        try:
            work()
        except Stopped:
            pass  # what was shown before stays
        except Refusal as refusal:
            if refusal.seen is not None:
                self.seen, self.start = refusal.seen, start_of(refusal.seen)
            self.refused = {"what": refusal.what, "remedy": refusal.remedy}
        except Exception as error:
            self.refused = {
                "what": f"a defect in the tool itself ({type(error).__name__}: {error})",
                "remedy": "please report it, with the photo if you can",
            }
        finally:
            self.working = self.stopping = False

    def stop(self) -> None:
        """Give up the work going on, if there is any: it ends at its next stage, and nothing of it is kept."""
        with self.lock:
            self.stopping = self.working

    def _go_on(self) -> None:
        if self.stopping:
            raise Stopped

    def _report_progress(self, stage: str) -> None:
        self._go_on()
        self.stage = stage

    def _found(self, beginning: Beginning) -> Found:
        """The outline begun with. Raises Refusal."""
        measured, drawn = self._measured(beginning), bool(beginning.drawn)
        start = sketch_of(measured, beginning.texts)
        if beginning.drawn:
            start = replace(start.all_manual(), checked=not beginning.drawn.get("seen"))
        return Found(measured, start, drawn)

    def _measured(self, beginning: Beginning) -> Measured:
        """The photo measured; the picture is not searched again for what was found in it before."""
        read, texts = self._photo_read(), beginning.texts
        photo = read.photo
        if beginning.drawn:
            return measure_drawn(photo, texts, drawn_of(beginning.drawn))
        options, wanted = options_of(photo, texts), pulls_of(photo, beginning.pulls)
        references, silhouette = read.cache.find(texts, options, beginning.regions, self._report_progress)
        self.seen = Findings(photo, references, outline_px=silhouette.outline_px)
        self._report_progress("working out its shape")
        if wanted:
            return fit_pulled(photo, options, references, silhouette, wanted)
        return fit_photo(photo, options, camera_of(photo, options), references, silhouette)

    def changed(self, sketch: Sketch) -> tuple[str, ...]:
        """What differs from the automatic result, in words."""
        return changed_by_hand(self.history.beginnings[sketch.beginning], self.found[sketch.beginning].start, sketch)

    # --- changing -----------------------------------------------------------------------------------------

    def preview(self, change: dict) -> tuple[Traced, Result]:
        """The numbers if the change were made; it is not. Raises Refusal."""
        with self.lock:
            full = self._ready("there is nothing to change yet").full
            traced = self._changed(change, settled=False)
            return traced, checked_result(lambda: solve_briefly(traced, full))

    def change(self, change: dict) -> None:
        """Make the change and keep it. Raises Refusal, and then nothing has changed."""
        with self.lock:
            traced = self._changed(change)
            full = checked_result(lambda: solve_fully(traced))
            self._show(self.history.changed(traced.sketch), traced, full)
            self._keep()

    def _changed(self, change: dict, settled: bool = True) -> Traced:
        pose = self._ready("there is nothing to change yet").traced.pose
        found = self.found[self.history.now.beginning]
        try:
            with np.errstate(all="ignore"):  # a point may be dragged anywhere; what comes of it is looked at
                sketch = edits.apply(self.history.now, change, pose)
                return traced_of(found, sketch, settled)
        except (ArithmeticError, ValueError, IndexError, shapely.errors.ShapelyError):
            raise GeometryRefusal("what was drawn has no shape a rocket can have", "undo the last change") from None

    def go(self, to: int) -> None:
        """Undo and redo: to the state of that number. Raises Refusal if its outline can't be found again."""
        with self.lock:
            if not 0 <= to < len(self.states):
                return
            number = self.states[to].beginning
            beginning, found = self.history.beginnings[number], self.found.get(number)
        fresh = found is None
        if found is None:
            found = self._found(beginning)
            found = replace(found, start=replace(found.start, beginning=number))
        with self.lock:
            self._go_on()
            history = self.history
            if to >= len(history.states) or history.beginnings[history.states[to].beginning] is not beginning:
                return  # something else was done meanwhile
            history = replace(history.with_start(found.start) if fresh else history, at=to)
            traced, full = solved_of(found, history.now)
            self._hold(number, found)
            self._show(history, traced, full)
            self._keep()

    def go_or_begin_to(self, to: int) -> None:
        """The same; in a thread of its own where an outline has to be found again. Raises UsageRefusal."""
        with self.lock:
            at_hand = not 0 <= to < len(self.states) or self.states[to].beginning in self.found
        if at_hand:
            self.go(to)
        else:
            self._start(lambda: self.go(to))

    # --- keeping ------------------------------------------------------------------------------------------

    def _photo_read(self) -> PhotoRead:
        if isinstance(self.state, Empty):
            raise UsageRefusal("there is no photo yet", "choose one first")
        return self.state

    def _ready(self, otherwise: str) -> Ready:
        if not isinstance(self.state, Ready):
            raise UsageRefusal(otherwise, "measure the photo first")
        return self.state

    def result(self) -> Result:
        """The full result, with what was changed by hand. Raises UsageRefusal if there is none."""
        full = self._ready(NO_NUMBERS).full
        return replace(full, changed_by_hand=self.changed(self.history.now), units=self.units or MM)

    def shown(self) -> tuple[Result, Geometry]:
        """The numbers as shown, and the geometry they stand on. Raises UsageRefusal if there are none."""
        with self.lock:
            return self.result(), self._ready(NO_NUMBERS).traced.measured.solid.geometry

    def save(self, paper: str | None = None) -> Path:
        """Write the results folder, as `measure` does; paper: of the report as PDF too. Raises UsageRefusal."""
        paper = parse_pdf(paper is not None, paper)
        with self.lock:
            ready = self._ready("there is nothing to save yet")
            photo, traced = ready.photo, ready.traced
            geometry = rounded(replace(traced.measured.solid.geometry, masses=traced.options.added))
            write_results(self.folder, self.result(), geometry, photo.rgb, photo.shrink, photo.path, paper)
            self.history, self.paper = replace(self.history, saved_at=self.at), paper
            self._keep()
            return self.folder

    def _keep(self) -> None:
        """The history beside the results, whole or not at all."""
        check_out_dir(self.folder, self.photo_path)
        path = self.folder / HISTORY
        if path.exists() and read_history(self.folder) is None:
            raise UsageRefusal(f"{path} was not written by this tool", "choose another folder with --out")
        data = history_json(self.history, self.photo_path or self._photo_read().photo.path)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            replace_file(path, json.dumps(data).encode())
            if isinstance(self.state, PhotoRead):
                keep_found(self.folder, self.state.cache)
        except OSError as error:
            raise UsageRefusal(
                f"{self.folder}: changes can't be kept ({(error.strerror or 'error').lower()})",
                "choose another folder with --out",
            ) from None
