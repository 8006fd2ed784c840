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
from digitize.commands.option_types import (
    AddOption,
    BalanceAtOption,
    BalancedWithOption,
    MotorOption,
    UnitsOption,
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
    help="From one side photo of a finished model rocket to its outline, geometry and centre of pressure.",
)

BalanceOption = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH[,END]",
        help="Balance point from the nose tip, ready to fly, heaviest motor in: 250mm; or with the end it was measured "
        "from: 250mm,from-nose, 163mm,from-tail.",
    ),
]
MassOption = Annotated[
    str | None, typer.Option(metavar="MASS", help="Lift-off mass; with --balanced-with, as it was balanced: 180g.")
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print result.json on standard output, and nothing else there.")
]
NameOption = Annotated[str | None, typer.Option(metavar="TEXT", help="The rocket's name in the results.")]
PoseOption = Annotated[
    str | None,
    typer.Option(
        metavar="POSE",
        help="How the (aft) fins stand: in-plane (one in the photo's plane, the default), diagonal (turned "
        "half a fin gap), resting (lying on two fin tips, seen from above), or fin 1's angle: 30deg.",
    ),
]


MachOption = Annotated[
    str | None,
    typer.Option(metavar="M", help="Show the methods at this Mach number too, 0 to 0.7: 0.6."),
]
WindOption = Annotated[
    str | None,
    typer.Option(metavar="SPEED", help="Crosswind at the launch rod, for the angle of attack: 4m/s."),
]
RodSpeedOption = Annotated[
    str | None,
    typer.Option(metavar="SPEED", help="The rocket's speed as it leaves the rod: 15m/s."),
]


PdfOption = Annotated[bool, typer.Option("--pdf", help="Write the report as PDF too.")]
PaperOption = Annotated[
    str | None, typer.Option(metavar="PAPER", help="The PDF's paper: a4, which is taken if absent, or letter.")
]


@app.callback()
def _digitize() -> None:
    """Keeps the commands' names even when there is one."""


@app.command()
@refusing_in_units
def measure(
    photo: Annotated[
        list[Path] | None, typer.Argument(metavar="PHOTO...", help="One or more photos of the same rocket.")
    ] = None,
    scale: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KIND[=VALUE]",
            help="How the photo is scaled; repeatable, all are used together and must agree. "
            "tube=41.6mm (largest body diameter by caliper), length=425mm (nose tip to aft end of the body), "
            "ruler=300mm (a ruler in the picture with that graduated length), a4, letter, card (paper or a "
            "bank card in the picture), checker=7x5x15mm (squares across, down, size), sheet (the printed "
            "scale sheet), points=X1,Y1,X2,Y2,300mm (two pixels of the upright photo and their distance).",
        ),
    ] = None,
    behind: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="How far the reference lies behind the rocket's axis, seen from the camera: 45mm. "
            "0mm: level with the axis; negative: nearer the camera.",
        ),
    ] = None,
    distance: Annotated[str | None, typer.Option(metavar="LENGTH", help="Camera to rocket: 1.8m.")] = None,
    fins: Annotated[
        str | None, typer.Option(metavar="N[,N]", help="Fins in each group, nose to tail: 4, or 3,4.")
    ] = None,
    pose: PoseOption = None,
    nose: Annotated[
        str | None,
        typer.Option(
            metavar="SIDE",
            help="Where the nose points in the upright photo: left, right, up or down. Found if absent.",
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
            help="A hand measurement to double-check; repeatable: length, tube, nose, root, tip, span or "
            "cutout-balance, as span=52mm.",
        ),
    ] = None,
    thickness: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH[,LENGTH]", help="Thickness of the fins, for all groups or for each: 2.4mm."
        ),
    ] = None,
    sheet_bar: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="The printed sheet's 100 mm bar as your ruler finds it: 99.2mm. Corrects its scale.",
        ),
    ] = None,
    camera: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A calibration of the camera, if you have one.")
    ] = None,
    shots: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="A list of photos, each with its own options, instead of photos here."
        ),
    ] = None,
    mach: MachOption = None,
    wind: WindOption = None,
    rod_speed: RodSpeedOption = None,
    pdf: PdfOption = False,
    paper: PaperOption = None,
    jobs: Annotated[
        int | None,
        typer.Option(metavar="N", min=1, help="With --shots: rockets measured at once; all cores if absent."),
    ] = None,
    name: NameOption = None,
    units: UnitsOption = None,
    seed: Annotated[
        int, typer.Option(metavar="N", min=0, help="Seed of the resampling behind the bands.")
    ] = 1,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Results folder.")] = None,
    json: JsonOption = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress on standard error.")] = False,
) -> None:
    """A side photo to outline, geometry, centre of pressure, areas, cut-out, verdict and report."""
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


@app.command()
@refusing_in_units
def solve(
    geometry: Annotated[Path, typer.Argument(metavar="GEOMETRY.toml", help="Hand-written, or from measure.")],
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
        typer.Option("--explain", help="Print every part, formula, number and source instead of the summary."),
    ] = False,
    pdf: PdfOption = False,
    paper: PaperOption = None,
    name: NameOption = None,
    units: UnitsOption = None,
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Write a results folder too; none if absent.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """The same numbers from a geometry file, no photo: hand-written, or written by measure and corrected."""
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


app.command()(sheet.sheet)
app.command()(calibrate.camera)
app.command()(ballast.ballast)
app.command()(templates.templates)
app.command()(swing.swing)
app.command()(trace.trace)


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
        return _stop(f"{error.format_message().rstrip('.')}. See digitize --help.", ExitCode.USAGE)
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
