"""The command line. Standard output is the product, standard error everything else."""

import codecs
import io
import os
import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from digitize.commands import ballast, calibrate, sheet, swing, templates, trace
from digitize.commands.examples import epilog
from digitize.commands.option_types import refusing_in_units, with_options
from digitize.commands.progress import progress_printer
from digitize.errors import ExitCode, Refusal, UsageRefusal, defect_words
from digitize.request.option_table import OPTIONS
from digitize.threads import one_thread_for_blas, usable_cores

if TYPE_CHECKING:
    from digitize.request.options import MeasureOptions
    from digitize.result_records import Result

_USAGE_ERROR: Any = typer.BadParameter.__base__  # click's, wherever typer keeps click
_INTERRUPTED = 130

_SIGNS = {"±": "+-", "²": "2", "°": " deg", "×": "x", "−": "-", "…": "~"}

app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Takes a photo of your finished model rocket from the side, finds its outline and its centre of pressure, and "
    "says with a band how sure it is whether it will fly straight. Begin with: digitize trace",
    epilog="digitize COMMAND --help explains one command and all its options. A length needs its unit (mm, cm, m, in, "
    "ft), a mass too (g, kg, oz, lb).",
)


@app.callback()
def _digitize() -> None:
    """Keeps the commands' names even when there is one."""


app.command(epilog=epilog("trace"))(trace.trace)


@app.command(epilog=epilog("measure"))
@refusing_in_units
@with_options(*OPTIONS)
def measure(
    photo: Annotated[
        list[Path] | None, typer.Argument(metavar="PHOTO...", help="Give one or more photos of the same rocket.")
    ] = None,
    **typed: Any,
) -> None:
    """Measures a photo and says whether the rocket will fly straight.

    It finds the outline and the fins, works out the centre of pressure with a band that says how sure it is, and writes
    a results folder with a report to read and print.
    """
    from digitize.request.options import measure_options
    from digitize.result.to_json import dumps, to_dict

    options = measure_options(photo or [], **typed)
    from digitize.pipeline import measure_rocket
    from digitize.request.photo_list import photos_of, read_shots

    rockets = [photos_of(options)] if options.shots is None else read_shots(options)
    if len(rockets) > 1:
        raise typer.Exit(_measure_several(rockets, options))
    result, folder = measure_rocket(rockets[0], options.out, progress_printer(options.quiet))
    _print(dumps(to_dict(result)) if options.json else _summary(result, folder / "report.html"))


for _command in (ballast.ballast, swing.swing, templates.templates, sheet.sheet):
    app.command(epilog=epilog(_command.__name__))(_command)


@app.command(epilog=epilog("solve"))
@refusing_in_units
@with_options(
    *("balance", "mass", "motor", "balanced_with", "add", "pose", "mach", "wind", "rod_speed", "explain"),
    *("pdf", "paper", "name", "units", "out", "json"),
)
def solve(
    geometry: Annotated[
        Path, typer.Argument(metavar="GEOMETRY.toml", help="Give the file: hand-written, or from measure.")
    ],
    explain: Annotated[
        bool,
        typer.Option(
            "--explain",
            help="Print every part, formula, number and source instead of the summary, to check it by hand.",
        ),
    ] = False,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Write a results folder too.")] = None,
    **typed: Any,
) -> None:
    """Works out the numbers from a geometry file.

    No photo is needed. The file is written by hand, or it is the one that measure wrote, corrected.
    """
    from dataclasses import replace

    from digitize.geometry.toml import check_geometry, read_geometry
    from digitize.option_records import UNSAID
    from digitize.plans.to_do import with_to_do
    from digitize.request.options import geometry_options
    from digitize.result.from_geometry import solve as run
    from digitize.result.to_json import dumps, to_dict

    options = geometry_options(**typed)
    if options.pdf_paper and out is None:
        raise UsageRefusal("--pdf was given without --out", "give the results folder it goes into")
    if explain and options.json:
        raise UsageRefusal("--explain and --json were both given", "choose one of the two")
    if out is not None:
        from digitize.report.folder import check_out_dir, write_results

        check_out_dir(out, geometry)
    rocket = read_geometry(geometry)
    # what is said of masses goes into the geometry, so that the file written gives the same again
    name = rocket.name if options.name is None else options.name
    rocket = replace(rocket, name=name, masses=(*rocket.masses, *options.added))
    check_geometry(rocket)
    pose = None if options.pose == UNSAID else options.pose
    result = run(rocket, loading=replace(options.loading(), added=()), pose=pose, flight=options.flight)
    result = with_to_do(replace(result, units=options.units), rocket)
    report = None
    if out is not None:
        report = write_results(out, result, rocket, input_path=geometry, pdf_paper=options.pdf_paper) / "report.html"
    if explain:
        from digitize.result.working import explain_text

        _print(explain_text(rocket, result))
        return
    _print(dumps(to_dict(result)) if options.json else _summary(result, report))


app.command(epilog=epilog("camera"))(calibrate.camera)


def main(argv: list[str] | None = None) -> int:
    """Run the command line and return its exit code; never a traceback unless DIGITIZE_DEBUG is set."""
    one_thread_for_blas()
    codecs.register_error("in-ascii", _in_ascii)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="in-ascii")
    try:
        code = typer.main.get_command(app).main(argv, prog_name="digitize", standalone_mode=False)
        sys.stdout.flush()
        if code == _INTERRUPTED:  # typer's own way of saying it
            raise KeyboardInterrupt
        return code if isinstance(code, int) else ExitCode.OK
    except Refusal as refusal:
        return _stop(refusal.line(), refusal.exit_code)
    except _USAGE_ERROR as error:
        return _stop(f"{error.format_message().rstrip('.')}. See {_command_of(error)} --help.", ExitCode.USAGE)
    except (KeyboardInterrupt, typer.Abort):
        return _stop("interrupted.", _INTERRUPTED)
    except BrokenPipeError:
        # The reader went away (as `| head` does): nothing is wrong, and nothing more can be said.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return ExitCode.OK
    except Exception as error:
        if os.environ.get("DIGITIZE_DEBUG") == "1":
            traceback.print_exc()
        return _stop(defect_words(error), ExitCode.DEFECT)


def _command_of(error) -> str:
    """The command whose own help explains what was wrong."""
    return error.ctx.command_path if getattr(error, "ctx", None) else "digitize"


def _in_ascii(error: UnicodeError) -> tuple[str, int]:
    """For terminals without the trade's signs: the sign in letters, so that no answer is lost."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    wanted = error.object[error.start : error.end]
    return "".join(_SIGNS.get(sign, "?") for sign in wanted), error.end


def _stop(line: str, code: int) -> int:
    print(f"digitize: {' '.join(line.split())}", file=sys.stderr)
    return int(code)


def _measure_several(rockets: list, options: "MeasureOptions") -> int:
    """Each rocket to a folder and a line, and a table of them all. Gives the worst exit code."""
    from digitize.club import check_parent, measure_many, write_table
    from digitize.report.text import line
    from digitize.result.to_json import dumps

    assert options.shots is not None  # one rocket has no list
    parent = options.out or Path(f"{options.shots.stem}-digitized")
    check_parent(parent)
    outcomes = []
    for outcome in measure_many(rockets, parent, options.jobs or usable_cores(), progress_printer(options.quiet)):
        outcomes.append(outcome)
        if not options.json:
            refused = f"{outcome.name}: NOT MEASURED (exit code {outcome.exit_code}). {outcome.words}"
            _print((refused if outcome.words else line(outcome.result, outcome.folder / "report.html")) + "\n")
            sys.stdout.flush()
    overview = write_table(outcomes, parent)
    _print(dumps([outcome.data() for outcome in outcomes]) if options.json else f"table: {overview}\n")
    return max(outcome.exit_code for outcome in outcomes)


def _summary(result: "Result", report: Path | None) -> str:
    from digitize.report.beside import NOTHING, beside
    from digitize.report.text import summary_text

    return summary_text(result, report, NOTHING if report is None else beside(report.parent, result))


def _print(text: str) -> None:
    sys.stdout.write(text)
