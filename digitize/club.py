"""Many rockets: each measured into a folder of its own on all cores, and a table of them all."""

import csv
import io
import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from digitize.errors import ExitCode, Refusal, UsageRefusal, defect_words
from digitize.files import check_folder, replace_own_file
from digitize.pipeline import measure_rocket
from digitize.report.overview import overview_html
from digitize.request.options import MeasureOptions
from digitize.request.photo_list import folder_name
from digitize.result.from_json import is_ours, put
from digitize.result.to_json import to_dict
from digitize.result_records import Result
from digitize.threads import one_thread_for_blas, usable_cores

TABLE, OVERVIEW = "table.csv", "index.html"
_COLUMNS = (
    "name", "verdict", "centre of pressure mm", "its band mm", "margin calibers", "its band calibers",
    "balance point mm", "length mm", "largest diameter mm", "warnings", "exit code", "report", "words",
)  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """One rocket. result: None if it was not measured; folder: where it went, or would have."""

    name: str
    exit_code: int
    result: Result | None
    folder: Path
    words: str = ""  # why not, if it was not measured

    def data(self) -> dict[str, Any]:
        """What result.json holds, or name, exit_code and refused."""
        if self.result is not None:
            return to_dict(self.result)
        return {"name": self.name, "exit_code": self.exit_code, "refused": self.words}


def measure_many(
    rockets: Sequence[tuple[MeasureOptions, ...]], parent: Path, jobs: int, progress: Callable[[str], None]
) -> Iterator[Outcome]:
    """Each rocket's outcome, in the order given; a refusal, or a defect in one, stops no other.

    parent: the folder that gets a results folder a rocket; jobs: how many at once. Words of progress come whole from
    one job, and as one line a rocket from several.
    """
    jobs = min(jobs, len(rockets))
    if jobs <= 1:
        yield from (_one(shots, parent, progress) for shots in rockets)
        return
    with _workers(jobs) as pool:
        waiting = [(shots, pool.submit(_one, shots, parent, _silent)) for shots in rockets]
        for shots, future in waiting:
            try:
                outcome = future.result()
            except BrokenExecutor:
                outcome = _not_measured(shots, parent, ExitCode.DEFECT, "its process was ended from outside")
            progress(f"{outcome.name}: {'done' if outcome.exit_code == 0 else 'not measured'}")
            yield outcome


def write_table(outcomes: Sequence[Outcome], parent: Path) -> Path:
    """table.csv for a spreadsheet and index.html to look at, in the parent folder; gives the latter's path.

    Raises UsageRefusal if files of these names are there that this tool did not make.
    """
    check_parent(parent)
    rows = [table_row(outcome) for outcome in outcomes]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerows([_COLUMNS, *([row[name] for name in _COLUMNS] for row in rows)])
    replace_own_file(parent / TABLE, text.getvalue().encode("utf-8"), _is_our_table)
    return put(parent, OVERVIEW, overview_html([outcome.result for outcome in outcomes], rows))


def check_parent(parent: Path) -> None:
    """Make the folder; raise UsageRefusal unless the table may go there. Worth calling before the work is done."""
    try:
        parent.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageRefusal(
            f"{parent}: can't be used as a folder ({reason.lower()})", "Choose another folder with --out"
        ) from None
    check_folder(parent, "Choose another folder with --out")
    for name, ours in ((TABLE, _is_our_table), (OVERVIEW, is_ours)):
        path = parent / name
        if path.exists() and not (path.is_file() and ours(path.read_bytes())):
            raise UsageRefusal(f"{path} exists and was not written by this tool", "Choose another folder with --out")


def _is_our_table(content: bytes) -> bool:
    return content.startswith(",".join(_COLUMNS).encode())


def _one(shots: tuple[MeasureOptions, ...], parent: Path, progress: Callable[[str], None]) -> Outcome:
    name = _name_of(shots)
    try:
        result, folder = measure_rocket(shots, parent / folder_name(name), progress)
        return Outcome(name, 0, result, folder)
    except Refusal as refusal:
        return _not_measured(shots, parent, refusal.exit_code, refusal.line())
    except Exception as error:
        return _not_measured(shots, parent, ExitCode.DEFECT, defect_words(error))


def _name_of(shots: tuple[MeasureOptions, ...]) -> str:
    return shots[0].name or shots[0].photo[0].stem


def _not_measured(shots: tuple[MeasureOptions, ...], parent: Path, code: int, words: str) -> Outcome:
    name = _name_of(shots)
    return Outcome(name, int(code), None, parent / folder_name(name), words)


def _silent(words: str) -> None:
    pass


@contextmanager
def _workers(jobs: int):
    """A pool whose workers share the cores, and are gone at once when this is interrupted."""
    one_thread_for_blas()
    pool = ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn"), _start_worker, (jobs,))
    try:
        yield pool
        pool.shutdown()
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for child in multiprocessing.active_children():
            child.terminate()
        raise


def _start_worker(jobs: int) -> None:
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent hears it and ends the workers
    cv2.setNumThreads(max(1, usable_cores() // jobs))


def table_row(outcome: Outcome) -> dict:
    result = outcome.result
    row: dict = dict.fromkeys(_COLUMNS, "")
    row |= {"name": outcome.name, "exit code": outcome.exit_code, "words": outcome.words}
    if result is None:
        return row | {"verdict": "not measured"}
    row |= {
        "verdict": result.verdict_level,
        "centre of pressure mm": f"{result.cp_x_mm.value:.2f}",
        "its band mm": f"{result.cp_x_mm.pm95:.2f}",
        "length mm": f"{result.length_mm.value:.2f}",
        "largest diameter mm": f"{result.max_diameter_mm.value:.2f}",
        "warnings": " ".join(warning.code for warning in result.warnings),
        "report": f"{outcome.folder.name}/report.html",
        "words": result.verdict_text,
    }
    if result.balance_mm is not None:
        row["balance point mm"] = f"{result.balance_mm.value:.2f}"
    if result.decides is not None:
        row["margin calibers"] = f"{result.decides.margin.value:.3f}"
        row["its band calibers"] = f"{result.decides.margin.pm95:.3f}"
    return row
