"""The main job told once: a photo and what the user said, to a Result and its folder."""

import shlex
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from digitize.errors import FinsRefusal, GeometryRefusal, OutlineRefusal, Refusal, ScaleRefusal, UsageRefusal
from digitize.geometry.toml import check_geometry, rounded
from digitize.option_records import Pose, ScaleOption
from digitize.outline.marked import NOTHING_MARKED, Marked
from digitize.outline.region import FirstPass
from digitize.outline.silhouette import find_silhouette
from digitize.photo.calibration import calibrated_prior, read_camera
from digitize.photo.camera import CameraPrior, camera_prior
from digitize.photo.read import read_photo
from digitize.photo.references import find_reference
from digitize.plans.to_do import with_to_do
from digitize.records import Photo, ReferencePoints, Silhouette, Warn
from digitize.refused import carrying
from digitize.report.folder import check_out_dir, write_refused, write_results
from digitize.request.options import MeasureOptions
from digitize.request.photo_list import photos_of
from digitize.result.from_photo import Measured, assemble
from digitize.result.from_photos import Shot, combine
from digitize.result_records import Result
from digitize.solid.adjust import Adjusted, GivenSizes
from digitize.solid.agreement import Agreement, blame_scales, check_agreement
from digitize.solid.measure import GivenFins, Solid, measure_solid
from digitize.solid.numbers import rivals
from digitize.solid.roll import AS_WELL, HOPELESS_UNEXPLAINED, UNEXPLAINED
from digitize.units.rounding import with_band
from digitize.units.shown_units import shown_in

DEFAULT_THICKNESS_MM = 2.0
HOPELESS_BAND_CALIBERS = 2.0
UNSAID_COUNTS = (4, 3, 6, 5, 2, 8)
"""Fin numbers tried when none was said, the likeliest first; the report then says so and widens its bands."""
UNKNOWN_FROM = 0.1
"""A lens known to no better than this, in the logarithm of its focal length, is one the file does not tell."""


def measure(options: MeasureOptions, progress: Callable[[str], None]) -> tuple[Result, Path]:
    """Measure the photo or photos of one rocket, write the results folder, return both.

    progress: called with what is being done. Raises Refusal of the kind that fits: unreadable file, no scale, no
    outline, unusable geometry, wrong usage.
    """
    return measure_rocket(photos_of(options), options.out, progress)


def measure_rocket(
    shots: Sequence[MeasureOptions], out_dir: Path | None, progress: Callable[[str], None]
) -> tuple[Result, Path]:
    """The same for photos with options of their own, one photo in each. Each of several photos gets a results
    folder of its own besides, in out_dir."""
    paths = [shot.photo[0] for shot in shots]
    out_dir = out_dir or Path(f"{paths[0].stem}-digitized")
    folders = [out_dir / f"photo-{n}" for n in range(1, len(shots) + 1)] if len(shots) > 1 else [out_dir]
    for folder, path in zip(folders, paths, strict=True):
        check_out_dir(out_dir, path)
        check_out_dir(folder, path)
    name = shots[0].name or paths[0].stem
    several = len(shots) > 1
    named = [replace(options, name=name) for options in shots]
    done = [_shot(options, progress, folder, several) for options, folder in zip(named, folders, strict=True)]
    result, best = combined_result(done, folders) if several else (done[0].result, done[0].measured)
    result = with_to_do(replace(result, units=shots[0].units), best.solid.geometry)
    progress("writing the results")
    if len(done) > 1:
        _write(out_dir, result, best, shots[0])
    for folder, shot in zip(folders, done, strict=True):
        _write(folder, shot.result, shot.measured, shot.options)
    return result, out_dir


def _shot(options: MeasureOptions, progress: Callable[[str], None], folder: Path, several: bool) -> Shot:
    """One photo, measured. A refusal names it if it is one of several, and leaves its picture in the folder."""
    path = options.photo[0]
    try:
        progress(f"reading {path.name}")
        measured = measure_photo(read_photo(path), options, progress)
        with _carrying(measured):
            progress("working out how sure each number is")
            result = with_to_do(replace(assemble(measured, options), units=options.units), measured.solid.geometry)
            check_band(result, options)
        return Shot(measured, result, options)
    except Refusal as refusal:
        with shown_in(options.units):
            raise _pictured(_named(refusal, path) if several else refusal, folder) from None


def combined_result(done: Sequence[Shot], folders: Sequence[Path]) -> tuple[Result, Measured]:
    """All photos to one result; refused, each leaves its picture, and the first is named."""
    try:
        return combine(done)
    except Refusal as refusal:
        for shot, folder in reversed(list(zip(done, folders, strict=True))):
            refusal.seen = None
            try:
                with _carrying(shot.measured):
                    raise refusal
            except Refusal:
                pictured = _pictured(refusal, folder)
        raise pictured from None


def _carrying(measured: Measured):
    """What was seen of a photo that was measured."""
    return carrying(photo=measured.photo, references=measured.references, outline_px=measured.silhouette.outline_px)


def _named(refusal: Refusal, path: Path) -> Refusal:
    return refusal if path.name in refusal.what else refusal.worded(f"{path.name}: {refusal.what}", refusal.remedy)


def _pictured(refusal: Refusal, folder: Path) -> Refusal:
    """The refusal, its picture written if a photo was seen; its remedy then says where that is."""
    picture = write_refused(folder, refusal)
    if picture is None:
        return refusal
    by_hand = f"digitize trace {shlex.quote(str(refusal.seen.photo.path))} sets it right by hand"
    return refusal.worded(refusal.what, f"{refusal.remedy.rstrip('.')}. {picture} shows what was seen; {by_hand}")


def _write(folder: Path, result: Result, measured: Measured, options: MeasureOptions) -> None:
    photo, geometry = measured.photo, rounded(replace(measured.solid.geometry, masses=options.added))
    write_results(folder, result, geometry, photo.rgb, photo.shrink, photo.path, options.pdf_paper)


def measure_photo(photo: Photo, options: MeasureOptions, progress: Callable[[str], None]) -> Measured:
    """One photo to its solid. Raises ScaleRefusal, OutlineRefusal, with what was seen up to there."""
    prior = camera_of(photo, options)  # a calibration that can't be read is told before the long work
    progress("finding the scale")
    references = references_of(photo, options)
    silhouette = silhouette_of(photo, references, progress)
    progress("working out its shape")
    return fit_photo(photo, options, prior, references, silhouette)


def fit_photo(
    photo: Photo,
    options: MeasureOptions,
    prior: CameraPrior,
    references: tuple[ReferencePoints, ...],
    silhouette: Silhouette,
) -> Measured:
    """The solid behind an outline that is there already. Raises ScaleRefusal, OutlineRefusal, with what was seen."""
    outline = {"outline_px": silhouette.outline_px, "body_px": silhouette.body_px, "nose_px": silhouette.nose_px}
    with carrying(photo=photo, references=references, **outline):
        return _fitted(photo, options, prior, references, silhouette)


def _fitted(photo: Photo, options: MeasureOptions, prior: CameraPrior, references, silhouette: Silhouette) -> Measured:
    sizes, name = given_sizes(options), options.name or photo.path.stem
    tried: list[tuple[float, CameraPrior, Solid]] = []
    refused, lenses = None, _lenses(prior)
    for given in given_fins(options):
        if len(tried) >= 2 and min(_unexplained(s) for _, _, s in tried) < UNEXPLAINED:
            break  # three and four are what most rockets have; others only where neither fits
        for lens, log_share in lenses:
            least = (log_share / prior.log_focal_sigma) ** 2 + AS_WELL
            if log_share and tried and tried[-1][0] < least and not _hopeless(tried[-1][2]):
                break  # no other lens can be clearly better
            try:
                resting = options.pose.kind == "resting"
                solid = measure_solid(name, lens, silhouette, references, sizes, given, options.nose, resting)
            except OutlineRefusal as refusal:  # of numbers and lenses that are only tried, one may fail
                if len(lenses) == 1 and not isinstance(refusal, FinsRefusal):
                    raise
                refused = refused or refusal
                continue
            cost = sum(trace.cost for trace in solid.fins) + (log_share / prior.log_focal_sigma) ** 2
            tried.append((cost, lens, solid))
    if refused is not None and not tried:
        unsaid = options.fins is None and isinstance(refused, FinsRefusal)
        raise _number_missing(refused.what) if unsaid else refused
    tried.sort(key=lambda one: (_hopeless(one[2]), one[0]))
    _, prior, solid = tried[0]
    agreement = agreement_of(solid.adjusted, options)
    warnings = agreement.warnings
    try:
        _check_fins(solid, options)
        _check_shape(solid)
    except OutlineRefusal:  # where scales are at odds the pose is bent, and then nothing fits
        blame_scales(solid.adjusted)
        raise
    others = [s for _, _, s in tried if [t.given.count for t in s.fins] != [t.given.count for t in solid.fins]]
    if options.fins is None and not others:
        warnings = (*warnings, _one_number(solid))
    return Measured(
        photo=photo,
        prior=prior,
        silhouette=silhouette,
        references=references,
        solid=solid,
        other=next(iter(others), None),
        warnings=warnings,
        factors=agreement.factors,
        rivals=() if options.fins is None else rivals(solid, silhouette, _other_numbers(options)),
    )


def _lenses(prior: CameraPrior) -> list[tuple[CameraPrior, float]]:
    """(prior, logarithm of its focal length over the likeliest): as the file tells, or where it does not, as far out as
    a cropped picture's may be: far too strong a perspective fits no fins, and no way leads downhill from there."""
    if prior.log_focal_sigma < UNKNOWN_FROM:
        return [(prior, 0.0)]
    shares = (0.0, np.log(1.6), np.log(2.6))
    camera = prior.camera
    return [(replace(prior, camera=replace(camera, focal_px=camera.focal_px * np.exp(s))), float(s)) for s in shares]


def _unexplained(solid: Solid) -> float:
    return max((trace.unexplained for trace in solid.fins), default=1.0)


def _hopeless(solid: Solid) -> bool:
    return _unexplained(solid) > HOPELESS_UNEXPLAINED


def _one_number(solid: Solid) -> Warn:
    return Warn(
        "FINS_NOT_SAID",
        f"The number of fins was not said; {solid.fins[0].given.count} is assumed, the only one tried that fits at all",
        "Give --fins, for example --fins 3",
    )


def _number_missing(what: str) -> FinsRefusal:
    """The same refusal where the number of fins was not given: most likely that is all that is missing."""
    tried = ", ".join(map(str, UNSAID_COUNTS[:-1])) + f" or {UNSAID_COUNTS[-1]}"
    return FinsRefusal(
        f"The number of fins was not said, and with {tried} in one group it does not fit: {what[:1].lower()}{what[1:]}",
        "Give --fins, for example --fins 3, or --fins 3,4 for two groups, nose to tail",
    )


def _check_fins(solid: Solid, options: MeasureOptions) -> None:
    """Refuse where what stands out is not explained by fins at all."""
    for k, trace in enumerate(solid.fins, 1):
        if trace.unexplained > HOPELESS_UNEXPLAINED:
            what = f"{100 * trace.unexplained:.0f} % of what stands out from the body at fin group {k} fits no fin"
            if options.fins is None:
                raise _number_missing(what)
            raise FinsRefusal(
                what,
                "Check --fins and --pose; turn the rocket so that one fin lies flat in the photo's plane, "
                "on a plain ground",
            )


def _check_shape(solid: Solid) -> None:
    """Refuse what geometry.toml can't hold: every command that reads the results would."""
    try:
        check_geometry(solid.geometry)
    except GeometryRefusal as refusal:
        raise OutlineRefusal(
            f"What was found is not the shape of a rocket: {refusal.what}",
            "Check --fins and --pose, or set the outline right by hand: digitize trace PHOTO",
        ) from None


def check_band(result: Result, options: MeasureOptions) -> None:
    """Refuse a centre of pressure that is known to no use, or lies off the body."""
    cp, caliber = result.cp_x_mm, result.max_diameter_mm.value
    if options.fins is None and cp.pm95 > HOPELESS_BAND_CALIBERS * caliber:
        # the band holds the other number too, and nothing may be wrong with the outline
        raise _number_missing(f"The centre of pressure may lie anywhere within {cp.value:.0f} \u00b1 {cp.pm95:.0f} mm")
    if cp.pm95 > HOPELESS_BAND_CALIBERS * caliber or not 0 < cp.value < result.length_mm.value:
        raise OutlineRefusal(
            f"The centre of pressure comes out at {with_band(cp, 'mm')} on a body "
            f"{result.length_mm.value:.0f} mm long: what was outlined can't be relied on",
            "Take the photo square from the side, the whole rocket on a plain ground of another colour",
        )


def silhouette_of(
    photo: Photo,
    references: tuple[ReferencePoints, ...],
    progress: Callable[[str], None],
    marked: Marked = NOTHING_MARKED,
    first: FirstPass | None = None,
) -> Silhouette:
    """The outline, the named references kept out of it; a distance on the rocket covers nothing of it.

    marked: what a person marked as rocket or not; first: the first look at this photo, if it was had before. Raises
    OutlineRefusal, with what was seen.
    """
    with carrying(photo=photo, references=references):
        return find_silhouette(photo, tuple(r for r in references if r.kind != "points"), progress, marked, first)


def camera_of(photo: Photo, options: MeasureOptions) -> CameraPrior:
    """The camera as calibrated, or as EXIF has it."""
    if options.camera is not None:
        return calibrated_prior(read_camera(options.camera), photo, options.camera.name)
    return camera_prior(photo.rgb.shape[1], photo.rgb.shape[0], photo.focal35_mm)


def references_of(photo: Photo, options: MeasureOptions) -> tuple[ReferencePoints, ...]:
    """The flat objects of known size that were named, found in the photo. Raises ScaleRefusal, UsageRefusal."""
    found: list[ReferencePoints] = []
    with carrying(photo=photo):
        if not options.scales:
            raise ScaleRefusal(
                "No scale was given, so there are no millimetres",
                "Give --scale, for example --scale tube=41.6mm (caliper on the body) or --scale ruler=300mm",
            )
    for claim in options.scales:
        with carrying(photo=photo, references=tuple(found)):
            if claim.kind == "points":
                found.append(points_reference(photo, claim))
            elif claim.kind not in ("tube", "length"):
                found += find_reference(photo, claim, options.sheet_bar_mm)
    return tuple(found)


def points_reference(photo: Photo, claim: ScaleOption) -> ReferencePoints:
    """Two pixels and their true distance as a reference of two points."""
    assert claim.length_mm is not None  # a claim of two points is made with their distance
    height, width = np.array(photo.rgb.shape[:2]) * photo.shrink
    ends = np.array(claim.points_px, float).reshape(2, 2)
    if (ends < -0.5).any() or (ends > np.array([width, height]) - 0.5).any():
        raise UsageRefusal(
            f"--scale {claim.text}: a point lies outside the photo, which is {width} x {height} pixels upright",
            "Read the pixels off the upright photo, x to the right and y down from the top left corner",
        )
    seen = photo.to_working_px(ends)
    # a pixel read off a screen by hand is good to about one pixel
    return ReferencePoints(
        kind="points",
        label="two points",
        points_px=seen,
        points_mm=np.array([[0.0, 0.0], [claim.length_mm, 0.0]]),
        sigma_px=1.0,
        size_sigma=0.5 / claim.length_mm,
        outline_px=seen,
    )


def agreement_of(adjusted: Adjusted, options: MeasureOptions) -> Agreement:
    """How the scales agree, as they were typed. Raises ScaleRefusal."""
    typed = tuple(claim.text or claim.kind for claim in options.scales)
    worse = 0 if options.balance_at_px is not None else 1 if options.loading().from_tail is not None else -1
    return check_agreement(adjusted, typed, worse)


def given_sizes(options: MeasureOptions) -> GivenSizes:
    """What was said of scale and distance."""
    by_kind = {claim.kind: claim.length_mm for claim in options.scales}
    return GivenSizes(
        tube_mm=by_kind.get("tube"),
        length_mm=by_kind.get("length"),
        behind_mm=options.behind_mm,
        distance_mm=options.distance_mm,
    )


def given_fins(options: MeasureOptions) -> list[tuple[GivenFins, ...]]:
    """What to try: the groups as said, or one group of each likely number."""
    counts = [options.fins] if options.fins is not None else [(count,) for count in UNSAID_COUNTS]
    return [tuple(_given_fin(options, k, count, len(group)) for k, count in enumerate(group)) for group in counts]


def _other_numbers(options: MeasureOptions) -> list[list[GivenFins]]:
    """For each group as said, the same words about other numbers of fins."""
    given = options.fins or ()
    return [
        [_given_fin(options, k, other, len(given)) for other in UNSAID_COUNTS if other != count]
        for k, count in enumerate(given)
    ]


def _given_fin(options: MeasureOptions, k: int, count: int, groups: int) -> GivenFins:
    thickness = options.thickness_mm or (DEFAULT_THICKNESS_MM,)
    rolls = _rolls(options.pose, count)
    if k < groups - 1:  # words about the pose are about the aft fins; those ahead may stand in line or in the gaps
        rolls = (*rolls, *(roll + np.pi / count for roll in rolls))
    return GivenFins(count, rolls, thickness[min(k, len(thickness) - 1)])


def _rolls(pose: Pose, count: int) -> tuple[float, ...]:
    """Rolls from the photo's plane that fit the words, rad, none where nothing was said; an odd group in the plane may
    be on either side."""
    if pose.kind == "unsaid":
        return ()
    roll = np.radians(pose.roll_deg(count))
    if pose.kind == "resting":
        return (roll,)
    return (roll, roll + np.pi) if count % 2 else (roll,)
