"""Would another number, one that a slip turns into the number typed, agree with the other scales as well?

Where a set-back was not said it makes room for a slip: a caliper read too large looks like a reference that lies nearer
to the axis than it does. How much room is no measure of doubt, since nobody's slip is just any size. What is asked is
what a slipped number would look like: two neighbouring digits swapped, which is the slip that stays within a few per
cent (a wrong unit, or the radius for the diameter, is refused at first sight). If the number that was meant then fits
the photo no worse, the photo can't tell which of the two is right, and the builder is asked.

How well a set-back fits that was not said: a reference is level with the axis, since that is what is asked for, or lies
on what the rocket lies on: no nearer than the body is thick, and no farther than fins reach and a little more, which is
twice what was guessed. Elsewhere nobody puts it.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import IntEnum
from itertools import pairwise

import numpy as np

from digitize.records import Warn
from digitize.solid.adjust import Adjusted, Problem, adjust

NUMBER_UNSURE = "NUMBER_UNSURE"
"""Code of the question."""
NUMBER_SAFE = "NUMBER_SAFE"
"""Code of its telling where the other number would take nothing from the margin."""
CLEARLY = 3.0
"""Difference of two costs, in squared standard deviations, by which the number typed must fit better than another."""
MOVES_CALIBERS = 0.2
"""A number that moves the rocket's length, in calibers, by less is no matter: a tenth or two is common handiwork."""
MOST_TIMES = 1.5
"""Numbers farther apart than this are seen without asking."""
BY_EYE_SIGMA_MM = 3.0
"""Of a reference put level with the axis by eye; the same as for a set-back that is said."""


class Place(IntEnum):
    """Where a reference would lie by the scales, the likeliest first."""

    LEVEL = 0
    GROUND = 1
    NOWHERE = 2


@dataclass(frozen=True)
class OtherNumber:
    """A number that may have been meant. claim, typed, meant: in words, with units; times: how many times as large the
    rocket then is; asked: whether the verdict waits for the answer; else it could only be too careful."""

    claim: str
    typed: str
    meant: str
    times: float
    asked: bool

    @property
    def warning(self) -> Warn:
        """The question."""
        size = f"{100 * abs(self.times - 1):.1f} % {'larger' if self.times > 1 else 'smaller'}"
        more = "" if self.asked else ", which takes nothing from its margin"
        return Warn(
            NUMBER_UNSURE if self.asked else NUMBER_SAFE,
            f"--scale {self.claim}: is it {self.typed}, or {self.meant}, two digits swapped? Both fit the photo; with "
            f"{self.meant} the rocket is {size}{more}",
            "Measure it once more; --behind (how far behind the axis the reference lies) or another --scale tells",
        )


def other_numbers(adjusted: Adjusted, claims: tuple[str, ...], worse: int = -1) -> tuple[OtherNumber, ...]:
    """Numbers that fit no worse than those typed, and make another rocket. The verdict waits for what would lessen the
    margin, and for what puts the reference in a likelier place than the number typed.

    claims: every --scale as typed; with fewer than two there is nothing to hold a number against. worse: which rocket
    has less margin by the balance point as told: -1 a smaller one, 1 a larger one, as from the tail, 0 neither.
    """
    if len(claims) < 2:
        return ()
    cost, place, slenderness = _cost(adjusted), place_of(adjusted), _slenderness(adjusted)
    found = []
    for claim in claims:
        kind, _, said = claim.partition("=")
        number = said.rpartition(",")[2] if kind == "points" else said  # of the others a comma may be a decimal one
        for typed, meant, factor in swapped(number):
            other = _with_number(adjusted.problem, kind, factor) if 1 / MOST_TIMES < factor < MOST_TIMES else None
            if other is None:
                continue
            solved = adjust(other, adjusted.values)
            times = float(solved.pose().depth_mm / adjusted.pose().depth_mm)
            moves, there = abs(times - 1) * slenderness > MOVES_CALIBERS, place_of(solved)
            if moves and there <= place and _cost(solved) < cost + CLEARLY:
                asked = worse != 0 and (there < place or (times - 1) * worse > 0)
                found.append(OtherNumber(kind, typed, meant, times, asked))
    return tuple(found)


def swapped(said: str) -> Iterator[tuple[str, str, float]]:
    """(as typed, as it may have been meant, times as much) for the last number in the words of a claim, once for each
    pair of neighbouring digits. Fractions are left alone: their digits are not read off a scale.

    >>> [meant for _, meant, _ in swapped("33.2mm")]
    ['32.3mm']
    >>> [meant for _, meant, _ in swapped("7x5x15mm")]
    ['51mm']
    """
    match = re.search(r"(\d+(?:[.,]\d+)?)\s*([a-zA-Z\"]*)\s*$", said)
    if match is None or "/" in said:
        return
    digits, unit = match[1].replace(",", "."), match[2]
    places = [k for k, sign in enumerate(digits) if sign != "."]
    for one, two in pairwise(places):
        signs = list(digits)
        signs[one], signs[two] = signs[two], signs[one]
        meant = "".join(signs)
        if float(meant) and meant != digits:
            yield f"{digits}{unit}", f"{meant}{unit}", float(meant) / float(digits)


def place_of(adjusted: Adjusted) -> Place:
    """Where the references would lie by this solution; LEVEL where there is nothing to ask: it was said, or nothing
    else fixes it."""
    given = adjusted.problem.given
    on_rocket = given.tube_mm is not None or given.length_mm is not None
    if given.behind_mm is not None or not (adjusted.problem.references and on_rocket):
        return Place.LEVEL
    behind, radius = adjusted.behind_mm()[0], float(adjusted.tube_radii_mm().max())
    room = 2 * float(np.hypot(BY_EYE_SIGMA_MM, _behind_sigma_mm(adjusted)))
    if -room < behind < min(room, 0.5 * radius):
        return Place.LEVEL
    return Place.GROUND if radius - room < behind < 2 * given.behind_guess_mm + room else Place.NOWHERE


def _cost(adjusted: Adjusted) -> float:
    """All that was seen and said against the solution, in squared standard deviations, but a set-back that was only
    guessed: its prior is a bell for want of better, and `place_of` judges it."""
    guessed = (np.array(adjusted.names) == "set-back") & (adjusted.problem.given.behind_mm is None)
    return float((adjusted.residuals[~guessed] ** 2).sum())


def _behind_sigma_mm(adjusted: Adjusted) -> float:
    """Standard deviation of the first reference's set-back."""
    step, at = 1e-3, adjusted.values
    moved = step * np.eye(len(at))
    row = np.array([adjusted.behind_mm(at + e)[0] - adjusted.behind_mm(at - e)[0] for e in moved]) / (2 * step)
    return float(np.sqrt(row @ adjusted.covariance @ row))


def _slenderness(adjusted: Adjusted) -> float:
    """Length over diameter: how many calibers all places move by when the rocket's size doubles, at most."""
    length_mm = float(adjusted.problem.ends.length_mm(adjusted.pose()))
    return length_mm / (2 * float(adjusted.tube_radii_mm().max()))


def _with_number(problem: Problem, kind: str, factor: float) -> Problem | None:
    """The same problem with this claim's number so many times as large; None where its number is not what its size
    rests on: a ruler is read by its marks."""
    given = problem.given
    if kind == "tube" and given.tube_mm is not None:
        return replace(problem, given=replace(given, tube_mm=factor * given.tube_mm))
    if kind == "length" and given.length_mm is not None:
        return replace(problem, given=replace(given, length_mm=factor * given.length_mm))
    if kind not in ("points", "checker") or all(reference.kind != kind for reference in problem.references):
        return None
    larger = tuple(replace(r, points_mm=factor * r.points_mm) if r.kind == kind else r for r in problem.references)
    return replace(problem, references=larger)
