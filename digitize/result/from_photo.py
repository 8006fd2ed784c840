"""Everything one run says, put together from the measured solid: numbers with bands, checks, words, drawing."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from digitize.aero.angle_curve import angle_curve, loads_of
from digitize.aero.components import centre_of_pressure
from digitize.aero.method_view import method_view, next_with_method, whole_band, with_method
from digitize.bands.marked_balance import marked_balance
from digitize.bands.resampling import SAMPLES, Samples, band, bands, draw, next_measurement, shares
from digitize.geometry import side_area
from digitize.geometry.describe import describe_profile
from digitize.margin import balance, stability
from digitize.photo.camera import CameraPrior
from digitize.records import BalanceState, Photo, Quantity, ReferencePoints, Silhouette, Warn
from digitize.request.option_table import texts
from digitize.request.options import MeasureOptions
from digitize.result.as_shown import hangs_on_it, reaching, shown_of, times_as_large
from digitize.result.conclusion import LevelOf, Margins, Sizes, concluded, margins_of
from digitize.result.fin_doubts import number_warning, pose_warning, roll_warning, side_warning, turn_warning
from digitize.result.from_geometry import fin_result, geometry_warnings, radius_choice, tip_points
from digitize.result.hand_checks import hand_checks, hand_facts, hand_warnings
from digitize.result_records import FinResult, NextMeasurement, PhotoFacts, Result
from digitize.solid.agreement import LOOSE_SCALES, size_warning
from digitize.solid.in_photo import drawing_of
from digitize.solid.measure import Solid
from digitize.solid.numbers import Rival
from digitize.solid.roll import UNEXPLAINED
from digitize.units.rounding import fixed


@dataclass(frozen=True)
class Measured:
    """One photo, measured. other: the solid for another number of fins, when the number was not said; as_shown: the
    solid as the photo shows it, one for each way in which a hand has set something off the photo's own edge;
    factors: of `solid.agreement.Agreement`; rivals: numbers of fins that fit clearly better than those said."""

    photo: Photo
    prior: CameraPrior
    silhouette: Silhouette
    references: tuple[ReferencePoints, ...]
    solid: Solid
    other: Solid | None
    warnings: tuple[Warn, ...] = ()
    as_shown: tuple[Solid, ...] = ()
    factors: tuple[float, ...] = ()
    rivals: tuple[Rival, ...] = ()

    @property
    def as_well(self) -> list[tuple[str, Solid]]:
        """(code of the warning that tells of it, solid) of every rocket that it may be as well as this one."""
        by_scale = [(LOOSE_SCALES, times_as_large(self.solid, factor)) for factor in self.factors]
        return [(HAND_OFF, solid) for solid in self.as_shown] + by_scale


BRIEF_SAMPLES = 150
HAND_OFF = "HAND_OFF"
"""Code of the warning that something set by hand lies off the photo's own edge."""


def assemble(measured: Measured, options: MeasureOptions, last: Result | None = None) -> Result:
    """The Result of one measured photo. Raises GeometryRefusal if there is no centre of pressure.

    last: a full Result of nearly the same rocket. Then fewer samples are drawn, and what is slow and changes little is
    taken from it: the method's band, the pieces, the words; the shares and the next measurement are left out.
    """
    solid, geometry = measured.solid, measured.solid.geometry
    samples = draw(solid, options.seed, SAMPLES if last is None else BRIEF_SAMPLES)
    cp = centre_of_pressure(geometry)
    measured_x = _with_other(band(samples.cp_x_mm, cp.x_mm), measured)
    for_margin = replace(measured, factors=_less_margin(measured.factors, options))
    if last is None or last.methods is None:
        view = method_view(geometry, measured_x.pm95, options.flight.mach)
    else:
        view = replace(last.methods, measured_pm95_mm=measured_x.pm95)
    cp_x = whole_band(measured_x, view)
    diameter = band(samples.max_diameter_mm, 2 * geometry.profile_mm[:, 1].max())
    # to 0.001 degree, as geometry.toml holds it, so that solving that file gives the same cut-out
    offset = solid.adjusted.pose().roll_offset_rad()
    rolls_deg = [round(float(np.degrees(t.roll_rad - offset)), 3) for t in solid.fins]
    area, centroid = _cutout(solid, samples, rolls_deg)
    length = band(samples.length_mm, geometry.profile_mm[-1, 0])
    base = band(samples.base_diameter_mm, 2 * geometry.profile_mm[-1, 1])
    fins = tuple(fin_bands(solid, samples, k) for k in range(len(geometry.fins)))
    shown = [(code, shown_of(of)) for code, of in measured.as_well]
    for _, one in shown:
        length, diameter, base = one.sizes(length, diameter, base)
        area, centroid, fins = reaching(area, one.cutout[0]), reaching(centroid, one.cutout[1]), one.fins(fins)
    margin_x = replace(cp_x, pm95=whole_band(_with_other(band(samples.cp_x_mm, cp.x_mm), for_margin), view).pm95)
    curve = angle_curve(loads_of(geometry, cp, area.value, centroid.value), options.flight, None, diameter.value)
    sizes = Sizes(length, diameter, cp_x, centroid, view, curve)
    margins = margins_of(sizes, *_states(measured, options, margin_x, samples, diameter), options.mass_g)
    pieces = describe_profile(geometry.profile_mm) if last is None else last.pieces
    facts = hand_facts(length, diameter, pieces, fins, centroid, geometry)
    checks = hand_checks(options.hand, facts)
    warnings = (
        *measured.warnings, *measured.silhouette.warnings, *(w for r in measured.references for w in r.warnings),
        *_own_warnings(measured, options, measured_x, diameter.value),
        *size_warning(solid.adjusted, geometry.profile_mm, margins.mass_g, measured.warnings),
        *geometry_warnings(geometry), *view.warnings,
        *hand_warnings(checks, facts, cp_x, margins.balance_mm), *margins.warnings,
    )  # fmt: skip

    doubted = partial(_doubted, for_margin, cp.x_mm, diameter.value, margins, warnings)
    mm_per_px = band(samples.mm_per_px, float(np.median(samples.mm_per_px)))
    return Result(
        name=geometry.name,
        length_mm=length,
        max_diameter_mm=diameter,
        base_diameter_mm=base,
        fins=fins,
        cutout_area_mm2=area,
        cutout_centroid_mm=centroid,
        cutout_rolls_deg=tuple(float(roll) for roll in rolls_deg),
        cp_x_mm=cp_x,
        cn_alpha_per_rad=band(samples.cn_alpha_per_rad, cp.cn_alpha_per_rad),
        parts=cp.parts,
        scale_kind=", ".join(claim.text or claim.kind for claim in options.scales),
        mm_per_px_at_axis=Quantity(mm_per_px.value / measured.photo.shrink, mm_per_px.pm95 / measured.photo.shrink),
        outline_px=measured.photo.to_full_px(measured.silhouette.outline_px),
        **concluded(margins, warnings, doubted=doubted),
        hand_checks=checks,
        pieces=pieces,
        assumptions=last.assumptions
        if last is not None
        else (*_assumptions(measured, options, rolls_deg), *balance.assumptions(margins.states)),
        shares=with_method(shares(solid, options.seed), view) if last is None else (),
        next_measurement=None
        if last is not None
        else worth_saying(next_with_method(next_measurement(solid, samples), view, diameter.value)),
        drawing=drawing_of(measured.photo, solid, measured.references, cp_x, margins.balance_mm, centroid),
        photo=_photo_facts(measured, options),
    )


def _doubted(
    measured: Measured, cp_x_mm: float, caliber_mm: float, margins: Margins, warnings: Sequence[Warn], level_of: LevelOf
) -> str | None:
    """The words of the first warning about a rocket it may be as well, if the level would be another with that."""
    place, margin, aside = margins.balance_mm, margins.margin, margins.cutout_margin
    if place is None or margin is None or aside is None:
        return None
    hanging = [
        code
        for code, of in measured.as_well
        if hangs_on_it(shown_of(of), cp_x_mm, caliber_mm, place.value, (margin, aside), level_of)
    ]
    return next((w.text for code in hanging for w in warnings if w.code == code), None)


WORTH_SHRINKING = 0.9
"""Of the band as it is: one more measurement that leaves more of it than this is not worth the builder's evening."""


def worth_saying(step: NextMeasurement | None) -> NextMeasurement | None:
    """The step, if it makes the band noticeably smaller."""
    if step is None or step.cp_pm95_calibers_then > WORTH_SHRINKING * step.cp_pm95_calibers_now:
        return None
    return step


def _less_margin(factors: tuple[float, ...], options: MeasureOptions) -> tuple[float, ...]:
    """Of the factors of the size those that lessen the margin, the only ones a verdict must beware of: of a smaller
    rocket, or of a larger one where the balance point was measured from the tail. One read off the photo moves with
    the scale, as the centre of pressure does."""
    if options.balance_at_px is not None:
        return ()
    from_tail = options.loading().from_tail is not None
    return tuple(factor for factor in factors if (factor > 1) == from_tail)


def _with_other(cp_x: Quantity, measured: Measured) -> Quantity:
    """The band widened to reach the centre of pressure for the other number of fins, if the number was not said, and
    for any other way the fins may stand; and that of the outline the photo shows, where a hand has set another."""
    others = [geometry for _, geometry in measured.solid.others] + [rival.geometry for rival in measured.rivals]
    others += [] if measured.solid.rival is None else [measured.solid.rival]
    others += [] if measured.other is None else [measured.other.geometry]
    apart = max((abs(centre_of_pressure(other).x_mm - cp_x.value) for other in others), default=0.0)
    cp_x = replace(cp_x, pm95=float(np.hypot(cp_x.pm95, apart)))
    for _, solid in measured.as_well:
        cp_x = reaching(cp_x, centre_of_pressure(solid.geometry).x_mm)
    return cp_x


def _cutout(solid: Solid, samples: Samples, rolls_deg) -> tuple[Quantity, Quantity]:
    """(area, centroid) of the side view without perspective, as the fins stood in the photo."""
    geometry = solid.geometry
    area, centroid, _ = side_area.cutout(geometry, rolls_deg)
    body_area = float(2 * np.trapezoid(geometry.profile_mm[:, 1], geometry.profile_mm[:, 0]))
    weights = []
    for k, roll in enumerate(rolls_deg):
        only = len(geometry.fins) == 1
        alone = area if only else side_area.cutout(replace(geometry, fins=(geometry.fins[k],)), [roll])[0]
        weights.append((alone - body_area) / float(np.mean(samples.fins[k]["area_mm2"])))
    sampled_area, sampled_centroid = samples.cutout(weights)
    return band(sampled_area, area), band(sampled_centroid, centroid)


def _states(
    measured: Measured, options: MeasureOptions, cp_x: Quantity, samples: Samples, diameter: Quantity
) -> tuple[balance.Loading, tuple[BalanceState, ...]]:
    """(the loading with its balance point placed, states of flight with their margins); none without a balance point.

    Errors common to places and diameter cancel in the margin, those of a balance point read off the photo or measured
    from the tail too.
    """
    loading, by_photo = options.loading(), np.zeros_like(samples.cp_x_mm)
    if options.balance_at_px is not None:
        point = measured.photo.to_working_px(np.array(options.balance_at_px))
        given = ",".join(f"{value:g}" for value in options.balance_at_px)
        found, by_photo = marked_balance(measured.solid, samples, point, given)
        loading = replace(loading, balance=found, end_said=True)
    elif loading.from_tail is not None:
        by_photo = samples.length_mm - float(np.median(samples.length_mm))
        length = float(measured.solid.geometry.profile_mm[-1, 0])
        loading = balance.placed(loading, Quantity(length, band(by_photo, 0.0).pm95))
    widened = max(cp_x.pm95**2 - band(samples.cp_x_mm, 0.0).pm95 ** 2, 0.0) ** 0.5
    photo_pm95 = band(by_photo, 0.0).pm95

    def margin_of(place: Quantity, share: float) -> Quantity:
        margin = stability.margin_calibers(cp_x, place, diameter)
        correlated = (samples.cp_x_mm - place.value - share * by_photo) / samples.max_diameter_mm
        own = band(correlated, margin.value).pm95
        by_hand = max(place.pm95**2 - (share * photo_pm95) ** 2, 0.0)
        return replace(margin, pm95=float(np.sqrt(own**2 + (by_hand + widened**2) / diameter.value**2)))

    length_mm = float(measured.solid.geometry.profile_mm[-1, 0])
    return loading, balance.states(loading, length_mm, margin_of)


def fin_bands(solid: Solid, samples: Samples, k: int) -> FinResult:
    exact, drawn = fin_result(solid.geometry, solid.geometry.fins[k]), samples.fins[k]
    outline = solid.geometry.fins[k].outline_mm
    tip_x = drawn["outline"][:, tip_points(outline, float(np.mean(drawn["radius_mm"]))), 0]
    sizes = {name: drawn[name] for name in ("root_chord_mm", "span_mm", "area_mm2")}
    sizes |= {"tip_chord_mm": np.ptp(tip_x, axis=1), "sweep_mm": tip_x.min(1) - drawn["outline"][:, 0, 0]}
    found = bands(list(sizes.values()), [getattr(exact, name).value for name in sizes])
    with_bands: dict[str, Any] = dict(zip(sizes, found, strict=True))
    return replace(exact, **with_bands)


def _own_warnings(measured: Measured, options: MeasureOptions, cp_x: Quantity, caliber: float) -> list[Warn]:
    """What in this measurement may be wrong, each with what to do."""
    solid, warnings = measured.solid, list(measured.solid.warnings)
    if options.fins is None and measured.other is not None:
        warnings.append(Warn(
            "FINS_NOT_SAID",
            f"The number of fins was not said; {solid.fins[0].given.count} is assumed and the band covers "
            f"{measured.other.fins[0].given.count} too",
            "Give --fins, for example --fins 3",
        ))  # fmt: skip
    if solid.axis.nose_doubt:
        warnings.append(Warn(
            "NOSE_DOUBT",
            "Which end is the nose is not clear from the shape"
            + (" and it speaks against --nose" if options.nose else ""),
            "Look at the picture (overlay.png); give --nose left, right, up or down",
        ))  # fmt: skip
    for k, trace in enumerate(solid.fins, 1):
        if trace.unexplained > UNEXPLAINED:
            warnings.append(Warn(
                "FINS_UNEXPLAINED",
                f"{100 * trace.unexplained:.0f} % of what stands out at fin group {k} fits no single fin shape "
                "at this pose",
                "Check --fins and --pose, or turn the rocket so that one fin lies flat in the photo's plane",
            ))  # fmt: skip
        if trace.absent:
            warnings.append(Warn(
                "FIN_NOT_IN_OUTLINE",
                f"The outline lacks {len(trace.absent)} of the {trace.given.count} fins of group {k}; those are taken "
                "to be like the others",
                "Draw what is missing (digitize trace PHOTO), or put a ground of another colour behind the fins",
            ))  # fmt: skip
        warnings += [*side_warning(trace, k), *turn_warning(trace, k)]
        warnings += roll_warning(solid, trace, k, options)
    warnings += [*pose_warning(solid, caliber), *number_warning(solid, measured.rivals, caliber)]
    told = solid.adjusted.problem.given
    if measured.references and options.behind_mm is None and told.tube_mm is None and told.length_mm is None:
        depth_mm = float(solid.adjusted.pose().depth_mm)
        percent = 100 * 1.96 * told.behind_sigma_mm / depth_mm
        if options.pose.kind != "resting":
            warnings.append(Warn(
                "SET_BACK_UNKNOWN",
                "How far the reference lies behind the axis was not said; "
                f"{fixed(told.behind_guess_mm, 0)} mm was taken as likely, and that may cost {fixed(percent, 1)} % of "
                "every length",
                "Give --behind (0mm when level with the axis), or the caliper diameter with --scale tube=",
            ))  # fmt: skip
    if measured.prior.log_focal_sigma > 0.1 and cp_x.pm95 > 0.1 * caliber:
        warnings.append(Warn(
            "NO_FOCAL_LENGTH",
            "The photo does not hold its focal length, so perspective is corrected only roughly",
            "Use the file as the phone saved it, or give --distance",
        ))  # fmt: skip
    if cp_x.pm95 > 0.5 * caliber:
        warnings.append(Warn(
            "WIDE_BAND",
            f"The centre of pressure is only known to \u00b1 {cp_x.pm95 / caliber:.1f} calibers",
            "Measure the largest diameter with a caliper (--scale tube=) or take a better photo",
        ))  # fmt: skip
    return warnings


def _assumptions(measured: Measured, options: MeasureOptions, rolls_deg) -> tuple[str, ...]:
    solid = measured.solid
    pose = solid.adjusted.pose()
    lines = [
        "Centre of pressure in straight flight at low speed, worked out part by part (nose, body, fins); how far the "
        "method itself may be off is in its band, as a source of its own.",
        "Fins are flat, straight and alike in a group: a side view can't show canted, tube or ring fins.",
        f"Focal length {measured.prior.source}; the camera stood about {float(pose.depth_mm) / 1000:.2f} m away.",
        f"The axis leans {np.degrees(float(pose.tilt_rad)):+.1f} degrees out of the square line of sight (nose nearer: "
        "positive), and this is corrected.",
    ]
    for trace, roll in zip(solid.fins, rolls_deg, strict=True):
        lines.append(
            f"The {trace.given.count} fins are taken as alike; "
            f"fin 1 stands {roll % (360 / trace.given.count):.1f} degrees from the photo's plane, "
            f"as the picture shows; their thickness is taken as {trace.given.thickness_mm:g} mm."
        )
    if measured.references:
        place = "as said" if options.behind_mm is not None else "as worked out"
        lines.append(
            f"The reference lies {fixed(solid.adjusted.behind_mm()[0], 0)} mm behind the rocket's axis, {place}."
        )
    if solid.hidden_knots.any():
        lines.append("Where fins hide the body's edge, the body is carried through from what is seen on either side.")
    choice = radius_choice(solid.geometry)
    if choice:
        lines.append(choice)
    lines.append("The cut-out is the side view without perspective, with the fins as they stand in the photo.")
    return tuple(lines)


def _photo_facts(measured: Measured, options: MeasureOptions) -> PhotoFacts:
    photo = measured.photo
    height, width = photo.rgb.shape[:2]
    return PhotoFacts(
        file=photo.path.name,
        width_px=width * photo.shrink,
        height_px=height * photo.shrink,
        focal35_mm=photo.focal35_mm,
        notes=photo.notes,
        path=str(photo.path.resolve()),
        asked=texts(options),
    )
