"""One least-squares adjustment of everything that fixes the millimetres.

Unknown: focal length and radial term of the lens, the axis' place before the camera, each tube's radius, a common
bias of the edge finder, and for each reference the pose and true size of its plane. Observed: the tubes' limbs,
the references' points, and everything the user said, each with its own standard deviation. Badly known things are
not left out: they have wide priors. Method: weighted least squares with priors as observations (the adjustment of
indirect observations, e.g. E. M. Mikhail, Observations and Least Squares, 1976; from memory).

Because every residual is scaled to unit standard deviation, the estimate moves by C J' e for observation errors e:
that splits the variance of any result exactly by source, and draws samples with all correlation kept.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from digitize.numeric.solving import damped_least_squares, rotations
from digitize.photo.camera import Camera, CameraPrior
from digitize.records import ReferencePoints
from digitize.solid.pose import Pose

EDGE_BIAS_PX, EDGE_BIAS_SIGMA_PX = -0.1, 0.18
"""How far outward a round body's edge is seen. Blur, tone curve and sharpening shift all edges together; the limb
darkens or takes the ground's colour at grazing light, which on eight rendered photographs made it seem 0.0 to 0.3
pixel inside its true place (measured there; no other source)."""
LIMB_SIGMA_PX = 0.35
OUTLIER_SIGMAS = 2.5
PLANE_TILT_SIGMA_RAD = np.radians(4.0)
SAME_PLANE_SIGMA_MM, SAME_PLANE_SIGMA_RAD = 2.0, np.radians(1.0)
CALIPER_SIGMA_MM = 0.05
TAPE_SIGMA_MM = 0.5
"""Reading nose tip and aft end against a class II tape (0.5 mm at 1 m, Directive 2014/32/EU, is its limit)."""


@dataclass(frozen=True)
class GivenSizes:
    """What the user said that bears on scale and pose. Lengths in mm, angles in rad; None where not said.

    behind_guess_mm: expected set-back where it was not said; tilt: expected (mean, sigma); plane_tilt: expected (mean,
    sigma) of the axis against the references' plane, positive when the nose is farther from the plane.
    """

    tube_mm: float | None = None
    length_mm: float | None = None
    behind_mm: float | None = None
    behind_sigma_mm: float = 3.0
    behind_guess_mm: float = 0.0
    distance_mm: float | None = None
    tilt: tuple[float, float] = (0.0, np.radians(3.0))
    plane_tilt: tuple[float, float] = (0.0, np.radians(4.0))


@dataclass(frozen=True)
class TubeLimbs:
    """Limb points of one tube: points_px (n, 2), side (n,) +1 on the photo's upper side, -1 on the other,
    sigma_px (n,) of the edge there."""

    points_px: np.ndarray
    side: np.ndarray
    sigma_px: np.ndarray


@dataclass(frozen=True)
class EndPoints:
    """tip_px: (2,) nose tip; base_px: (k, 2) points on the edge of the aft end; rim_px: (j, 2) limb points whose
    mean axis distance is the aft end's radius."""

    tip_px: np.ndarray
    base_px: np.ndarray
    rim_px: np.ndarray

    def tip_s_mm(self, pose: Pose) -> np.ndarray:
        """Nose tip's place along the axis, (...,)."""
        return pose.in_fin_plane(self.tip_px[None], 0.0)[..., 0, 0]

    def base_s_mm(self, pose: Pose) -> np.ndarray:
        """Aft end's place along the axis, (...,): the rim nearest to, or facing away from, the camera is what shows,
        so each point is brought back from the rim to the axis (see pose.limb; the rim has the aft end's radius)."""
        radius = np.abs(pose.limb(self.rim_px)[1]).mean(-1, keepdims=True)
        s, side, tan_phi = pose.limb(self.base_px)
        inside = np.sqrt(np.maximum(radius**2 - side**2, 0.0))
        return (s - inside * np.abs(tan_phi)).mean(-1)

    def length_mm(self, pose: Pose) -> np.ndarray:
        """Body length, nose tip to aft end, (...,)."""
        return self.base_s_mm(pose) - self.tip_s_mm(pose)


@dataclass(frozen=True)
class Problem:
    """All that the adjustment works from."""

    prior: CameraPrior
    view: np.ndarray
    upper: float
    tubes: tuple[TubeLimbs, ...]
    ends: EndPoints
    references: tuple[ReferencePoints, ...]
    given: GivenSizes
    start_depth_mm: float
    edge_bias_px: tuple[float, float] = (EDGE_BIAS_PX, EDGE_BIAS_SIGMA_PX)  # expected, sigma

    @cached_property
    def start_radii_mm(self) -> np.ndarray:
        """(T,) radii of the tubes if the start were right."""
        pose = Pose(self.prior.camera, self.view, self.upper, self.start_depth_mm, 0.0)
        return np.array([np.abs(pose.limb(tube.points_px)[1]).mean() for tube in self.tubes])

    @cached_property
    def start_planes(self) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
        """(rotation, place of its origin) of each reference: square to the camera, as far as its size tells."""
        return tuple(_start_plane(self.prior.camera, reference) for reference in self.references)


@dataclass(frozen=True)
class Adjusted:
    """The solution. values: (m,) scaled unknowns; covariance: (m, m); jacobian: (k, m) of unit-sigma residuals;
    residuals: (k,); sources: name of the source of each residual row; names: of each row, for people."""

    problem: Problem
    values: np.ndarray
    covariance: np.ndarray
    jacobian: np.ndarray
    residuals: np.ndarray
    sources: tuple[str, ...]
    names: tuple[str, ...]

    def pose(self, values: np.ndarray | None = None) -> Pose:
        """The pose at the solution, or at other values (m,) or (S, m)."""
        return self._solution.pose if values is None else _unpack(self.problem, values).pose

    @cached_property
    def _solution(self) -> "_State":
        return _unpack(self.problem, self.values)

    def edge_bias_px(self, values: np.ndarray | None = None) -> np.ndarray:
        """How far outward the edges were seen, pixels."""
        return (self._solution if values is None else _unpack(self.problem, values)).edge_bias_px

    def tube_radii_mm(self, values: np.ndarray | None = None) -> np.ndarray:
        """(..., T) radii of the tubes."""
        return (self._solution if values is None else _unpack(self.problem, values)).tube_radii_mm

    def sample(self, errors: np.ndarray) -> np.ndarray:
        """(S, m) values when the observations had the unit-normal errors (S, k)."""
        return self.values + errors @ (self.jacobian @ self.covariance)

    def values_near(self, problem: Problem) -> np.ndarray:
        """Values (m,) to begin from for a problem with other tubes, as of an axis drawn by hand, or more references."""
        pose, planes = self.values[:_POSE].copy(), self.values[_POSE + len(self.problem.tubes) :].reshape(-1, _PLANE)
        pose[3] = 100 * np.log(float(self.pose().depth_mm) / problem.start_depth_mm)
        known = {r.label: plane for r, plane in zip(self.problem.references, planes, strict=True)}
        kept = [known.get(r.label, np.zeros(_PLANE)) for r in problem.references]
        return np.concatenate([pose, np.full(len(problem.tubes), pose[3]), *kept])

    def behind_mm(self, values: np.ndarray | None = None) -> list[float]:
        """Set-back of each reference from the axis, as solved, or at other values (m,)."""
        values = self.values if values is None else values
        pose = _unpack(self.problem, values).pose
        return [float(_behind(pose, plane)) for plane in _planes(self.problem, values)]


@dataclass(frozen=True)
class _State:
    pose: Pose
    edge_bias_px: np.ndarray
    tube_radii_mm: np.ndarray


_POSE = 7  # log focal, k1, edge bias, log depth, tilt, turn_z, turn_x
_PLANE = 7  # rotation vector 3, translation 3, size
_STEP = np.finfo(float).eps ** 0.5
_NEAR_STEPS = 9
_SETTLED = 3e-3  # standard deviations; the slopes' own rounding keeps the steps from falling below a third of it


def _unpack(problem: Problem, values: np.ndarray) -> _State:
    """Scaled unknowns to things with units; values may carry a leading sample axis."""
    v = np.moveaxis(np.asarray(values, float), -1, 0)
    prior, n_tubes = problem.prior, len(problem.tubes)
    camera = Camera(
        prior.camera.focal_px * np.exp(v[0] * prior.log_focal_sigma),
        prior.camera.centre_px,
        prior.camera.k1 + v[1] * prior.k1_sigma,
    )
    pose = Pose(
        camera, problem.view, problem.upper, problem.start_depth_mm * np.exp(0.01 * v[3]), 0.01 * v[4],
        1e-3 * v[5], 1e-3 * v[6],
    )  # fmt: skip
    radii = np.moveaxis(
        problem.start_radii_mm[(...,) + (None,) * (v.ndim - 1)] * np.exp(0.01 * v[_POSE : _POSE + n_tubes]),
        0,
        -1,
    )
    expected, sigma = problem.edge_bias_px
    return _State(pose, expected + sigma * v[2], radii)


def _planes(problem: Problem, values: np.ndarray) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """(rotation (..., 3, 3), translation (..., 3), size factor (...)) of each reference, for values (..., m)."""
    planes, first = [], _POSE + len(problem.tubes)
    for k, reference in enumerate(problem.references):
        w = values[..., first + k * _PLANE :][..., :_PLANE]
        rotation, translation = problem.start_planes[k]
        turn = rotations(0.01 * w[..., :3])
        aside = 0.01 * translation[2] * np.concatenate([w[..., 3:5], np.zeros_like(w[..., :1])], -1)
        moved = translation * np.exp(0.01 * w[..., 5:6]) + aside
        planes.append((turn @ rotation, moved, 1 + reference.size_sigma * w[..., 6]))
    return planes


def _start_plane(camera: Camera, reference: ReferencePoints) -> tuple[np.ndarray, np.ndarray]:
    size = similarity(reference.points_mm, reference.points_px)
    turn = np.arctan2(size[1], size[0])
    rotation = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    depth = camera.focal_px / np.hypot(size[0], size[1])
    centre = (size[2:] - camera.centre_px) / camera.focal_px * depth
    return rotation, np.array([centre[0], centre[1], depth])


def similarity(source: np.ndarray, target: np.ndarray) -> np.ndarray:
    """(a, b, x, y) of the plane similarity target = [[a, -b], [b, a]] source + (x, y), by least squares."""
    one, zero = np.ones(len(source)), np.zeros(len(source))
    rows = np.concatenate([
        np.stack([source[:, 0], -source[:, 1], one, zero], 1),
        np.stack([source[:, 1], source[:, 0], zero, one], 1),
    ])  # fmt: skip
    return np.linalg.lstsq(rows, np.concatenate([target[:, 0], target[:, 1]]), rcond=None)[0]


def _behind(pose: Pose, plane) -> np.ndarray:
    """Distance (...) of the axis' middle from a reference's plane, positive when the plane is farther away."""
    rotation, translation, _ = plane
    in_camera = np.asarray(pose.depth_mm)[..., None] * pose.to_camera()[..., 2, :]
    normal = rotation[..., 2]
    return (normal * (translation - in_camera)).sum(-1) * np.sign(normal[..., 2])


def _residuals(problem: Problem, values: np.ndarray) -> list[tuple[str, str, np.ndarray]]:
    """(source, name, unit-sigma residuals (..., k)) of every observation, for values (..., m)."""
    state, given = _unpack(problem, values), problem.given
    pose = state.pose
    px_mm = pose.depth_mm / pose.camera.focal_px
    rows = [
        ("lens", "focal length", values[..., 0:1]),
        ("lens", "lens distortion", values[..., 1:2]),
        ("edge", "edge bias", values[..., 2:3]),
        ("pose", "tilt expected", _column((pose.tilt_rad - given.tilt[0]) / given.tilt[1])),
        # only holds the unknown in place when nothing else does; a factor of e is far beyond any real doubt
        ("scale", "any scale", 0.01 * values[..., 3:4]),
    ]
    for k, tube in enumerate(problem.tubes):
        side_mm = pose.limb(tube.points_px)[1]
        predicted = tube.side * _column(state.tube_radii_mm[..., k] + state.edge_bias_px * px_mm)
        rows.append(("edge", "tube limbs", (side_mm - predicted) / (tube.sigma_px * _column(px_mm))))
    if given.tube_mm is not None:
        off = 2 * state.tube_radii_mm.max(-1) - given.tube_mm
        rows.append(("scale", "tube", _column(off / CALIPER_SIGMA_MM)))
    if given.length_mm is not None:
        off = problem.ends.length_mm(pose) - given.length_mm
        rows.append(("scale", "length", _column(off / TAPE_SIGMA_MM)))
    if given.distance_mm is not None:
        sigma = max(0.04 * given.distance_mm, 25.0)
        rows.append(("distance", "camera distance", _column((pose.depth_mm - given.distance_mm) / sigma)))
    planes = _planes(problem, values)
    for k in range(len(problem.references)):
        rows += _reference_rows(problem, pose, planes, k)
    return rows


def _column(values) -> np.ndarray:
    """(...) as (..., 1)."""
    return np.asarray(values)[..., None]


def _reference_rows(problem: Problem, pose: Pose, planes: list, k: int) -> list[tuple[str, str, np.ndarray]]:
    reference, given = problem.references[k], problem.given
    rotation, translation, size = planes[k]
    scaled = reference.points_mm * _column(_column(size))
    solid = scaled @ np.swapaxes(rotation[..., :2], -1, -2) + translation[..., None, :]
    seen = (pose.camera.project(solid) - reference.points_px) / reference.sigma_px
    axis = (pose.axis_direction()[..., None, :] @ pose.to_camera())[..., 0, :]
    normal = rotation[..., 2]
    along = (normal * axis).sum(-1)
    own_size = (size - 1) / max(reference.size_sigma, 1e-9)
    rows = [
        ("scale", reference.label, seen.reshape(*seen.shape[:-2], -1)),
        ("scale", f"{reference.label}: its own size", _column(own_size)),
        ("set-back", f"{reference.label}: plane square to the camera", normal[..., :2] / PLANE_TILT_SIGMA_RAD),
        # the normal points away from the camera and the axis aft, so a nose farther from the plane is positive
        (
            "set-back",
            f"{reference.label}: plane along the axis",
            _column((along - given.plane_tilt[0]) / given.plane_tilt[1]),
        ),
    ]
    if k == 0:
        expected_mm = given.behind_guess_mm if given.behind_mm is None else given.behind_mm
        behind = (_behind(pose, planes[0]) - expected_mm) / given.behind_sigma_mm
        rows.append(("set-back", "set-back", _column(behind)))
    else:
        first_normal, first_translation = planes[0][0][..., 2], planes[0][1]
        apart = (first_normal * (translation - first_translation)).sum(-1) / SAME_PLANE_SIGMA_MM
        leans = (normal - first_normal)[..., :2] / SAME_PLANE_SIGMA_RAD
        rows.append(("set-back", f"{reference.label}: along the first one's plane", leans))
        rows.append(("set-back", f"{reference.label}: in the first one's plane", _column(apart)))
    return rows


def adjust_robustly(problem: Problem) -> Adjusted:
    """Solve, then take weight from limb points that lie beside their tube (a string, a shadow taken for body) in
    proportion to how far, and solve again."""
    start = None
    for _ in range(3):
        solved = adjust(problem, start)
        start = solved.values
        tubes = []
        for k, tube in enumerate(problem.tubes):
            pose = solved.pose()
            px_mm = pose.depth_mm / pose.camera.focal_px
            off = tube.side * pose.limb(tube.points_px)[1] - solved.tube_radii_mm()[k]
            off_px = np.abs(off / px_mm - np.median(off / px_mm))
            beyond = off_px / (OUTLIER_SIGMAS * LIMB_SIGMA_PX)
            tubes.append(replace(tube, sigma_px=np.where(beyond > 1, LIMB_SIGMA_PX * beyond**2, tube.sigma_px)))
        problem = replace(problem, tubes=tuple(tubes))
    return adjust(problem, start)


def adjust(problem: Problem, start: np.ndarray | None = None) -> Adjusted:
    """Solve; the covariance is that of the linearised problem at the solution. start: (m,) values to begin from."""
    if start is None:
        start = np.zeros(_POSE + len(problem.tubes) + _PLANE * len(problem.references))
    return _adjusted(problem, *damped_least_squares(lambda values: _linearised(problem, values), start))


def adjust_near(problem: Problem, start: np.ndarray) -> Adjusted:
    """The solution to a hundredth of its standard deviations, several times faster, from values (m,) near by:
    Gauss-Newton steps without damping. Where they lead uphill or do not settle soon, it is not near, and is solved by
    `adjust`."""
    values, cost = start, np.inf
    for _ in range(_NEAR_STEPS):
        residuals, slopes = _linearised(problem, values)
        before, cost = cost, residuals @ residuals
        if not np.isfinite(slopes).all() or not cost < before + _SETTLED:
            break
        step = np.linalg.solve(slopes.T @ slopes, slopes.T @ -residuals)
        values = values + step
        if np.linalg.norm(slopes @ step) < _SETTLED:
            return _adjusted(problem, values, slopes)
    return adjust(problem, start)


def _stacked(problem: Problem, values: np.ndarray) -> np.ndarray:
    """(..., k) all unit-sigma residuals."""
    return np.concatenate([r for _, _, r in _residuals(problem, values)], -1)


def _linearised(problem: Problem, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(residuals (k,), their slopes (k, m)) at values (m,)."""
    # forward differences, all unknowns at once: a residual costs the same for one set of values as for twenty
    step = _STEP * np.where(values >= 0, 1.0, -1.0) * np.maximum(1.0, np.abs(values))
    moved = values + np.diag(step)
    change = _stacked(problem, np.vstack([values, moved]))
    return change[0], ((change[1:] - change[0]) / _column(np.diag(moved) - values)).T


def _adjusted(problem: Problem, values: np.ndarray, jacobian: np.ndarray) -> Adjusted:
    rows = _residuals(problem, values)
    return Adjusted(
        problem=problem,
        values=values,
        covariance=np.linalg.inv(jacobian.T @ jacobian),
        jacobian=jacobian,
        residuals=np.concatenate([r for _, _, r in rows], -1),
        sources=tuple(source for source, _, r in rows for _ in r),
        names=tuple(name for _, name, r in rows for _ in r),
    )


def alone(problem: Problem, claim: int) -> Problem:
    """The same problem with only one claim about scale kept, by its place among `start.start_depths`."""
    given, first = problem.given, int(problem.given.tube_mm is not None)
    last = first + len(problem.references)
    given = replace(
        given,
        tube_mm=given.tube_mm if first and claim == 0 else None,
        length_mm=given.length_mm if claim == last else None,
    )
    kept = problem.references[claim - first : claim - first + 1] if first <= claim < last else ()
    return replace(problem, given=given, references=kept)
