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
from digitize.commands.option_types import (
    AddOption,
    BalanceAtOption,
    BalancedWithOption,
    BalanceOption,
    JsonOption,
    MachOption,
    MassOption,
    MotorOption,
    NameOption,
    PaperOption,
    PdfOption,
    PoseOption,
    RodSpeedOption,
    UnitsOption,
    WindOption,
    refusing_in_units,
)
from digitize.commands.progress import sayer
from digitize.errors import ExitCode, Refusal, UsageRefusal, defect_words
from digitize.threads import one_thread_for_blas, usable_cores
from digitize.units.shown_units import MM

if TYPE_CHECKING:
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
def measure(
    photo: Annotated[
        list[Path] | None, typer.Argument(metavar="PHOTO...", help="Give one or more photos of the same rocket.")
    ] = None,
    scale: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KIND[=VALUE]",
            help="Say what tells the size. You may give several: all are used together and must agree. "
            "tube=41.6mm: the largest body diameter, by caliper. length=425mm: from the nose tip to the body's aft "
            "end. "
            "ruler=300mm or ruler=12in: a ruler in the picture, by the length of its marks. a4, letter, card: paper "
            "or a "
            "bank card in the picture. checker=7x5x15mm: a checkerboard, by squares across, squares down, and a "
            "square's "
            "side. sheet: the printed scale sheet. points=X1,Y1,X2,Y2,300mm: two pixels of the upright photo and their "
            "true distance.",
        ),
    ] = None,
    behind: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="Say how far the ruler, card or paper lies behind the middle of the rocket, seen from the camera: "
            "45mm. 0mm means level with it; a negative number means nearer to the camera.",
        ),
    ] = None,
    distance: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Say how far the camera was from the rocket: 1.8m.")
    ] = None,
    fins: Annotated[
        str | None,
        typer.Option(
            metavar="N[,N]", help="Say how many fins it has: 4. For several groups, count each from nose to tail: 3,4."
        ),
    ] = None,
    pose: PoseOption = None,
    nose: Annotated[
        str | None,
        typer.Option(
            metavar="SIDE",
            help="Say where the nose points in the upright photo: left, right, up or down. It is found otherwise.",
        ),
    ] = None,
    balance: BalanceOption = None,
    balance_at: BalanceAtOption = None,
    mass: MassOption = None,
    motor: MotorOption = None,
    balanced_with: BalancedWithOption = None,
    add: AddOption = None,
    hand: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=VALUE",
            help="Give what you measured by hand, and it is compared: span=52mm. You may give several: length, tube, "
            "nose, root, tip, span, cutout-balance.",
        ),
    ] = None,
    thickness: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH[,LENGTH]", help="Say how thick the fins are: 2.4mm; or for each group: 2.4mm,1.6mm."
        ),
    ] = None,
    sheet_bar: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="Say how long your ruler finds the printed sheet's 100 mm bar: 99.2mm. That corrects the sheet's "
            "scale.",
        ),
    ] = None,
    camera: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Give a calibration of the camera, if you have made one.")
    ] = None,
    shots: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Give a file that lists photos or rockets, each with options of its own, in place of photos.",
        ),
    ] = None,
    mach: MachOption = None,
    wind: WindOption = None,
    rod_speed: RodSpeedOption = None,
    pdf: PdfOption = False,
    paper: PaperOption = None,
    jobs: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            min=1,
            help="Say how many rockets of --shots to measure at once; as many as there are cores otherwise.",
        ),
    ] = None,
    name: NameOption = None,
    units: UnitsOption = None,
    seed: Annotated[
        int,
        typer.Option(
            metavar="N",
            min=0,
            help="Begin the random draws behind the bands with this number; the same gives the same.",
        ),
    ] = 1,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="Say which folder the results go into; it is named after the photo otherwise."
        ),
    ] = None,
    json: JsonOption = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing of the progress.")] = False,
) -> None:
    """Measures a photo and says whether the rocket will fly straight.

    It finds the outline and the fins, works out the centre of pressure with a band that says how sure it is, and writes
    a results folder with a report to read and print.
    """
    from digitize.request.options import measure_options
    from digitize.result.to_json import dumps, to_dict

    options = measure_options(
        photo or [],
        scale=scale or [],
        behind=behind,
        distance=distance,
        fins=fins,
        pose=pose,
        nose=nose,
        balance=balance,
        balance_at=balance_at,
        mass=mass,
        motor=motor or [],
        balanced_with=balanced_with,
        add=add or [],
        hand=hand or [],
        thickness=thickness,
        sheet_bar=sheet_bar,
        camera=camera,
        shots=shots,
        name=name,
        seed=seed,
        out=out,
        json=json,
        quiet=quiet,
        mach=mach,
        wind=wind,
        rod_speed=rod_speed,
        pdf=pdf,
        paper=paper,
        units=units,
    )
    from digitize.pipeline import measure_rocket
    from digitize.request.photo_list import photos_of, read_shots

    rockets = [photos_of(options)] if options.shots is None else read_shots(options)
    if len(rockets) > 1:
        raise typer.Exit(_measure_several(rockets, options, jobs))
    result, folder = measure_rocket(rockets[0], out, sayer(quiet))
    _print(dumps(to_dict(result)) if json else _summary(result, folder / "report.html"))


for _command in (ballast.ballast, swing.swing, templates.templates, sheet.sheet):
    app.command(epilog=epilog(_command.__name__))(_command)


@app.command(epilog=epilog("solve"))
@refusing_in_units
def solve(
    geometry: Annotated[
        Path, typer.Argument(metavar="GEOMETRY.toml", help="Give the file: hand-written, or from measure.")
    ],
    balance: BalanceOption = None,
    mass: MassOption = None,
    motor: MotorOption = None,
    balanced_with: BalancedWithOption = None,
    add: AddOption = None,
    pose: PoseOption = None,
    mach: MachOption = None,
    wind: WindOption = None,
    rod_speed: RodSpeedOption = None,
    explain: Annotated[
        bool,
        typer.Option(
            "--explain",
            help="Print every part, formula, number and source instead of the summary, to check it by hand.",
        ),
    ] = False,
    pdf: PdfOption = False,
    paper: PaperOption = None,
    name: NameOption = None,
    units: UnitsOption = None,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Write a results folder too.")] = None,
    json: JsonOption = False,
) -> None:
    """Works out the numbers from a geometry file.

    No photo is needed. The file is written by hand, or it is the one that measure wrote, corrected.
    """
    from dataclasses import replace

    from digitize.geometry.toml import check_geometry, read_geometry
    from digitize.plans.to_do import with_to_do
    from digitize.request.balance_options import loading
    from digitize.request.options import parse_flight, parse_pdf, parse_pose, parse_units
    from digitize.result.from_geometry import solve as run
    from digitize.result.to_json import dumps, to_dict

    shown_units = parse_units(units) or MM
    loaded = loading(balance, mass, motor or [], balanced_with, add or [])
    stand = None if pose is None else parse_pose(pose)
    flight = parse_flight(mach, wind, rod_speed)
    pdf_paper = parse_pdf(pdf, paper)
    if pdf and out is None:
        raise UsageRefusal("--pdf was given without --out", "give the results folder it goes into")
    if explain and json:
        raise UsageRefusal("--explain and --json were both given", "choose one of the two")
    if out is not None:
        from digitize.report.folder import check_out_dir, write_results

        check_out_dir(out, geometry)
    rocket = read_geometry(geometry)
    # what is said of masses goes into the geometry, so that the file written gives the same again
    rocket = replace(rocket, name=rocket.name if name is None else name, masses=(*rocket.masses, *loaded.added))
    check_geometry(rocket)
    result = run(rocket, loading=replace(loaded, added=()), pose=stand, flight=flight)
    result = with_to_do(replace(result, units=shown_units), rocket)
    report = None
    if out is not None:
        report = write_results(out, result, rocket, input_path=geometry, pdf_paper=pdf_paper) / "report.html"
    if explain:
        from digitize.result.working import explain_text

        _print(explain_text(rocket, result))
        return
    _print(dumps(to_dict(result)) if json else _summary(result, report))


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


def _measure_several(rockets: list, options, jobs: int | None) -> int:
    """Each rocket to a folder and a line, and a table of them all. Gives the worst exit code."""
    from digitize.club import check_parent, measure_many, write_table
    from digitize.report.text import line
    from digitize.result.to_json import dumps

    parent = options.out or Path(f"{options.shots.stem}-digitized")
    check_parent(parent)
    outcomes = []
    for outcome in measure_many(rockets, parent, jobs or usable_cores(), sayer(options.quiet)):
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
