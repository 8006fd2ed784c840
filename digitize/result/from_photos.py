"""Several photos of one rocket to one result.

A quantity's band has a part of the photo's own (its edges, how the rocket lay in it) and a part common to all
photos (the caliper's reading, the lens, the body that fins hide, the method). Only the first shrinks with
more photos. Where they differ by more than their own parts allow, the band is widened by the ratio of R. T.
Birge, The calculation of errors by the method of least squares, Phys. Rev. 40 (1932) 207 (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from digitize.aero.method_view import whole_band
from digitize.bands.resampling import SHARE_SAMPLES, Samples, band, draw
from digitize.errors import GeometryRefusal
from digitize.margin import balance, stability
from digitize.margin.warning_codes import meaning_of
from digitize.records import BalanceState, Quantity, Warn
from digitize.request.options import MeasureOptions
from digitize.result.conclusion import Sizes, concluded, margins_of
from digitize.result.from_photo import Measured, fin_bands
from digitize.result.hand_checks import hand_checks, hand_facts, hand_warnings
from digitize.result_records import FinResult, MethodView, PhotoAlone, Result
from digitize.solid.in_photo import drawing_of
from digitize.units.rounding import with_band

OWN_SOURCES = ("edge", "pose")
OWN_WITHOUT_SHARED_SCALE = ("edge", "pose", "scale", "set-back")
"""Photos scaled by the same caliper reading, or the same reference in the same place, are wrong together."""
BEYOND = 1.5
"""Two photos disagree when they differ by more than this times the band of their difference (3 sigma)."""
LEAST_OWN = 0.3
"""Of a band, when photos are compared: even with one caliper reading no two photos share all of it."""
BODY = {
    "length_mm": "length",
    "max_diameter_mm": "largest diameter",
    "base_diameter_mm": None,
    "cp_x_mm": "centre of pressure",
    "cn_alpha_per_rad": "force for each angle of the air (normal-force slope)",
}
FIN = {
    "root_chord_mm": "root chord",
    "tip_chord_mm": None,
    "span_mm": "span",
    "sweep_mm": None,
    "area_mm2": "area",
}
"""What is combined, and how it is called when photos differ in it; None: a detail, only widened then."""
UNITS = {"mm": "mm", "mm2": "mm²", "rad": "per radian"}


@dataclass(frozen=True)
class Size:
    """A quantity that photos share: a field of Result, or of the fins of a group, from 0."""

    field: str
    group: int | None = None

    def words(self) -> str | None:
        """How it is called when photos differ in it; None: it is only widened."""
        if self.group is None:
            return BODY[self.field]
        return FIN[self.field] and f"{FIN[self.field]} of a fin of group {self.group + 1}"


@dataclass(frozen=True)
class Combination:
    """quantity: of all photos together; apart: which two photos differ beyond their bands, if any."""

    quantity: Quantity
    apart: tuple[int, int] | None = None


@dataclass(frozen=True)
class Shot:
    """One photo of the rocket: as measured, its result alone, and what was said of it."""

    measured: Measured
    result: Result
    options: MeasureOptions


def combine_quantity(alone: Sequence[Quantity], own_pm95: Sequence[float]) -> Combination:
    """One quantity from its value in each photo.

    own_pm95: the part of each band that is the photo's own; the rest is common to all, whatever its size in
    each. The weights are the inverse squares of the whole bands.
    """
    value = np.array([q.value for q in alone])
    whole = np.maximum([q.pm95 for q in alone], 1e-9)
    own = np.minimum(own_pm95, whole)
    common = np.sqrt(whole**2 - own**2)
    weight = whole**-2.0 / (whole**-2.0).sum()
    mean = float(weight @ value)
    # how far each may lie from the mean by errors that are not common to all; 1.96 brings bands to sigmas
    free = np.maximum(own, LEAST_OWN * whole)
    apart = np.hypot(free, common - weight @ common) / 1.96
    ratio = np.sqrt((((value - mean) / apart) ** 2).sum() / max(len(value) - 1, 1))
    widening = np.sqrt(max(ratio**2 - 1, 0)) * np.sqrt(((weight * free) ** 2).sum())
    quantity = Quantity(mean, float(np.sqrt(((weight * own) ** 2).sum() + widening**2 + (weight @ common) ** 2)))
    i, j = int(np.argmin(value)), int(np.argmax(value))
    allowed = BEYOND * np.sqrt(free[i] ** 2 + free[j] ** 2 + (common[i] - common[j]) ** 2)
    return Combination(quantity, (min(i, j), max(i, j)) if value[j] - value[i] > allowed else None)


def combine(shots: Sequence[Shot]) -> tuple[Result, Measured]:
    """(the result of all photos together, the photo whose geometry and drawing it shows).

    Raises GeometryRefusal if the photos were read as rockets with other fins.
    """
    _check_same_fins(shots)
    best = min(shots, key=lambda shot: _view(shot.result).measured_pm95_mm)
    shared_scale = any(set(a.options.scales) & set(b.options.scales) for k, a in enumerate(shots) for b in shots[:k])
    sources = OWN_SOURCES if shared_scale else OWN_WITHOUT_SHARED_SCALE
    own = [_own_bands(shot.measured, shot.options.seed, sources) for shot in shots]
    found = {size: _over(shots, own, size) for size in own[0]}
    sizes: list[dict[str, Any]] = [
        {name: found[Size(name, k)].quantity for name in FIN} for k in range(len(best.result.fins))
    ]
    fins = tuple(replace(fin, **of_fin) for fin, of_fin in zip(best.result.fins, sizes, strict=True))
    body: dict[str, Any] = {name: found[Size(name)].quantity for name in BODY}
    view = replace(_view(best.result), measured_pm95_mm=body["cp_x_mm"].pm95)
    body["cp_x_mm"] = whole_band(body["cp_x_mm"], view)
    return _result(best, shots, body, fins, view, _disagreements(found)), best.measured


def _view(result: Result) -> MethodView:
    assert result.methods is not None  # a photo's result has always been seen by every method
    return result.methods


def _check_same_fins(shots: Sequence[Shot]) -> None:
    first = [fin.count for fin in shots[0].result.fins]
    for shot in shots[1:]:
        counts = [fin.count for fin in shot.result.fins]
        if counts != first:
            raise GeometryRefusal(
                f"{shots[0].measured.photo.path.name} looks like a rocket with {_counts(first)} fins, "
                f"{shot.measured.photo.path.name} like one with {_counts(counts)}",
                "Give --fins, and photos of one rocket only",
            )


def _counts(counts: list[int]) -> str:
    return ",".join(map(str, counts)) or "no"


def shared_values(result: Result) -> dict[Size, Quantity]:
    """Every quantity that photos share.

    Of the centre of pressure the measured part only: the method is off by the same in every photo, so it neither
    shrinks with their number nor explains why two differ.
    """
    body = {Size(name): getattr(result, name) for name in BODY}
    body[Size("cp_x_mm")] = replace(result.cp_x_mm, pm95=_view(result).measured_pm95_mm)
    return body | _fin_values(result.fins)


def _fin_values(fins: Sequence[FinResult]) -> dict[Size, Quantity]:
    return {Size(name, k): getattr(fin, name) for k, fin in enumerate(fins) for name in FIN}


def _own_bands(measured: Measured, seed: int, sources: Sequence[str]) -> dict[Size, float]:
    """pm95 of each quantity from these sources alone."""
    solid = measured.solid
    squares: dict[Size, float] = {}
    for source in sources:
        samples: Samples = draw(solid, seed, SHARE_SAMPLES, only=source)
        bands = {Size(name): band(getattr(samples, name), 0.0) for name in BODY}
        bands |= _fin_values([fin_bands(solid, samples, k) for k in range(len(solid.fins))])
        for size, quantity in bands.items():
            squares[size] = squares.get(size, 0.0) + quantity.pm95**2
    return {size: float(np.sqrt(square)) for size, square in squares.items()}


def _over(shots: Sequence[Shot], own: list[dict[Size, float]], size: Size) -> Combination:
    return combine_quantity([shared_values(shot.result)[size] for shot in shots], [bands[size] for bands in own])


@dataclass(frozen=True)
class Apart:
    """Two photos that differ beyond their bands, and all they differ in."""

    photos: tuple[int, int]
    sizes: tuple[Size, ...]

    def words(self, shots: Sequence[Shot]) -> str:
        """That they do."""
        one, other = (_name(shots[k]) for k in self.photos)
        return f"{one} and {other} differ by more than their bands allow"

    def warning(self, shots: Sequence[Shot]) -> Warn:
        """The same with all they differ in."""
        one, other = (shots[k].result for k in self.photos)
        return Warn(
            "PHOTOS_DISAGREE",
            f"{self.words(shots)}, so these are widened to cover both: "
            f"{'; '.join(_difference(size, one, other) for size in self.sizes)}",
            "Look at both pictures (overlay.png): is the outline on the edge, the pose as said, the rocket the same?",
        )


def _name(shot: Shot) -> str:
    return shot.measured.photo.path.name


def _disagreements(found: dict[Size, Combination]) -> list[Apart]:
    by_pair: dict[tuple[int, int], list[Size]] = {}
    for size, combination in found.items():
        if combination.apart and size.words():
            by_pair.setdefault(combination.apart, []).append(size)
    return [Apart(pair, tuple(sizes)) for pair, sizes in sorted(by_pair.items())]


def _difference(size: Size, one: Result, other: Result) -> str:
    unit = UNITS[size.field.rsplit("_", 1)[1]]
    told = [with_band(shared_values(result)[size], unit, bare=True) for result in (one, other)]
    return f"{size.words()} {' against '.join(told)} {unit}"


def _result(
    best: Shot,
    shots: Sequence[Shot],
    body: dict[str, Any],
    fins: tuple[FinResult, ...],
    view: MethodView,
    disagreements: list[Apart],
) -> Result:
    alone, options = best.result, best.options
    sizes = Sizes(
        body["length_mm"], body["max_diameter_mm"], body["cp_x_mm"], alone.cutout_centroid_mm, view, alone.angle
    )
    facts = hand_facts(
        sizes.length_mm, sizes.diameter_mm, alone.pieces, fins, sizes.centroid_mm, best.measured.solid.geometry
    )
    checks = hand_checks(options.hand, facts)
    margins = margins_of(sizes, *_states(shots, options, body), options.mass_g)
    warnings = (
        *(apart.warning(shots) for apart in disagreements), *_each_ones_warnings(shots),
        *hand_warnings(checks, facts, sizes.x_mm, margins.balance_mm), *margins.warnings,
    )  # fmt: skip
    return replace(
        alone,
        **body,
        fins=fins,
        **concluded(margins, warnings, doubt=disagreements[0].words(shots) if disagreements else None),
        hand_checks=checks,
        assumptions=(
            f"{len(shots)} photos of the same rocket, combined by their bands; what they share (scale, lens, "
            "hidden parts, method) is not averaged down.",
            f"The outlines, the cut-out, the parts and the band's sources are those of {_name(best)}, which has "
            "the narrowest band.",
            *alone.assumptions,
        ),
        # its bands before and after would be those of one photo
        next_measurement=None,
        drawing=drawing_of(
            best.measured.photo,
            best.measured.solid,
            best.measured.references,
            sizes.x_mm,
            margins.balance_mm,
            sizes.centroid_mm,
        ),
        photos=tuple(
            PhotoAlone(_name(shot), shot.result.length_mm, shot.result.max_diameter_mm, shot.result.cp_x_mm)
            for shot in shots
        ),
    )


def _states(
    shots: Sequence[Shot], options: MeasureOptions, body: dict
) -> tuple[balance.Loading, tuple[BalanceState, ...]]:
    """(the loading with its balance point placed, states with their margins). Of several marked in photos the surest
    one counts."""
    loading = balance.placed(options.loading(), body["length_mm"])
    marked = [shot.result.as_balanced_mm for shot in shots if shot.result.as_balanced_mm is not None]
    if options.loading().from_tail is None:
        found = min(marked, key=lambda quantity: quantity.pm95, default=None)
        seen = any(shot.options.balance_at_px is not None for shot in shots)
        loading = replace(loading, balance=found, end_said=loading.end_said or seen)

    def margin_of(place: Quantity, _: float) -> Quantity:
        return stability.margin_calibers(body["cp_x_mm"], place, body["max_diameter_mm"])

    return loading, balance.states(loading, body["length_mm"].value, margin_of)


def _each_ones_warnings(shots: Sequence[Shot]) -> list[Warn]:
    """Every photo's own warnings, with its name where not all photos have them; those about what was measured by hand
    are made anew."""
    lists = [[w for w in shot.result.warnings if not meaning_of(w.code).of_said] for shot in shots]
    common = [w for w in lists[0] if all(w in others for others in lists)]
    single = [
        replace(w, text=f"{_name(shot)}: {w.text}")
        for shot, warnings in zip(shots, lists, strict=True)
        for w in warnings
        if w not in common
    ]
    return common + single
