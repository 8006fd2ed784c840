"""Where the rocket's axis stands before the camera, and the closed-form geometry of rays about it.

Frame W (the view): origin at the camera, z toward the middle of the axis as it is seen, x along the axis as it
is seen (aft positive), y = z cross x. In it the axis is the line (0, 0, depth_mm) + s * a with
a = (cos tilt, 0, sin tilt): tilt is positive when the nose is nearer to the camera. s is counted along the
axis from the line's crossing of W's z axis; the nose tip is at a negative s.

`upper` is +1 or -1: the sign of y on the photo's upper side. A fin at angle f points along
cos(f) * upper * y - sin(f) * n, n being the direction square to the axis and away from the camera. These angles
count from the line of sight; users count them from the photo's plane, and the two differ by Pose.roll_offset_rad
when the rocket lies off the picture's middle.

A ray that grazes a surface of revolution at axis distance rho(s) touches the profile r(s) from outside, so the
profile is the lower envelope of the rays' hyperbolas rho(s); see Pose.limb.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from digitize.photo.camera import Camera


@dataclass(frozen=True)
class Pose:
    """Camera and axis. Scalars may carry a leading sample axis (S,).

    view: (3, 3) rows are W's axes in the camera frame (fixed); turn_z, turn_x: small turns of W, radians, that
    take up what the fixed view leaves; depth_mm, tilt_rad as in the module's text.
    """

    camera: Camera
    view: np.ndarray
    upper: float
    depth_mm: np.ndarray | float
    tilt_rad: np.ndarray | float
    turn_z: np.ndarray | float = 0.0
    turn_x: np.ndarray | float = 0.0

    def to_camera(self) -> np.ndarray:
        """(..., 3, 3) rows are W's axes in the camera frame: row vectors of W times it are in the camera frame."""
        return self._to_camera

    @cached_property
    def _to_camera(self) -> np.ndarray:
        cz, sz = np.cos(self.turn_z), np.sin(self.turn_z)
        cx, sx = np.cos(self.turn_x), np.sin(self.turn_x)
        turn = np.zeros((*np.shape(cz), 3, 3))
        turn[..., 0, 0], turn[..., 0, 1] = cz, sz
        turn[..., 1, 0], turn[..., 1, 1], turn[..., 1, 2] = -sz * cx, cz * cx, sx
        turn[..., 2, 0], turn[..., 2, 1], turn[..., 2, 2] = sz * sx, -cz * sx, cx
        return turn @ self.view

    def axis_direction(self) -> np.ndarray:
        """(..., 3) unit vector aft, in W."""
        return self._axis_direction

    @cached_property
    def _axis_direction(self) -> np.ndarray:
        tilt = np.asarray(self.tilt_rad, float)
        return np.stack([np.cos(tilt), np.zeros_like(tilt), np.sin(tilt)], -1)

    def roll_offset_rad(self) -> float:
        """What to add to a fin's angle from the photo's plane to have it from the line of sight."""
        optical = self.view @ np.array([0.0, 0.0, 1.0])
        return float(np.arctan2(optical[2], -self.upper * optical[1]) - np.pi / 2)

    def rays(self, points_px: np.ndarray) -> np.ndarray:
        """Unit directions (..., n, 3) in W of pixels (n, 2) or (S, n, 2)."""
        return self.camera.rays(points_px) @ np.swapaxes(self.to_camera(), -1, -2)

    def limb(self, points_px: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """For pixels (n, 2) or (S, n, 2): (s_mm, side_mm, tan_phi), each (..., n).

        s_mm: place along the axis nearest to the ray; side_mm: distance of the ray from the axis, positive on the
        photo's upper side; tan_phi: slope of the ray against the axis' normal plane, positive going aft.
        """
        ray = self.rays(points_px)
        axis = self.axis_direction()[..., None, :]
        depth = np.asarray(self.depth_mm, float)[..., None]
        along = (ray * axis).sum(-1)
        across = np.sqrt(1 - along**2)
        axis_z, axis_x = axis[..., 2], axis[..., 0]
        side_mm = self.upper * depth * axis_x * ray[..., 1] / across
        s_mm = depth * (along * ray[..., 2] - axis_z) / across**2
        return s_mm, side_mm, along / across

    def in_fin_plane(self, points_px: np.ndarray, angle_rad, offset_mm=0.0) -> np.ndarray:
        """(..., n, 2): (s_mm, y_mm) where each pixel's ray meets the plane of a fin at the given angle.

        angle_rad: scalar, (n,) or (S, n); offset_mm: the plane's distance from the axis along the fin's face
        direction, which is -sin(angle) up and cos(angle) toward the camera (half a thickness for a face).
        """
        ray = self.rays(points_px)
        axis = self.axis_direction()[..., None, :]
        out, face = self.fin_frame(angle_rad)
        depth = np.asarray(self.depth_mm, float)[..., None]
        origin = depth[..., None] * np.array([0.0, 0.0, 1.0])
        reach = (offset_mm + (origin * face).sum(-1)) / (ray * face).sum(-1)
        point = reach[..., None] * ray - origin
        return np.stack([(point * axis).sum(-1), (point * out).sum(-1)], -1)

    def fin_frame(self, angle_rad) -> tuple[np.ndarray, np.ndarray]:
        """Unit vectors (..., n, 3) in W: outward along the fin, and square to its face (see in_fin_plane)."""
        axis = self.axis_direction()[..., None, :]
        angle = np.asarray(angle_rad, float)
        angle = angle[..., None] if angle.ndim == 0 else angle
        up = np.array([0.0, self.upper, 0.0])
        away = np.stack([-axis[..., 2], np.zeros_like(axis[..., 0]), axis[..., 0]], -1)
        out = np.cos(angle)[..., None] * up - np.sin(angle)[..., None] * away
        face = -np.sin(angle)[..., None] * up - np.cos(angle)[..., None] * away
        return out, face

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """Pixels (..., n, 2) of rocket-fixed points (..., n, 3): (s along the axis, up, toward the camera), mm."""
        points_mm = np.asarray(points_mm, float)
        axis = self.axis_direction()[..., None, :]
        up = np.array([0.0, self.upper, 0.0])
        away = np.stack([-axis[..., 2], np.zeros_like(axis[..., 0]), axis[..., 0]], -1)
        depth = np.asarray(self.depth_mm, float)[..., None, None]
        in_w = (
            depth * np.array([0.0, 0.0, 1.0])
            + points_mm[..., :1] * axis
            + points_mm[..., 1:2] * up
            - points_mm[..., 2:3] * away
        )
        return self.camera.project(in_w @ self.to_camera())

    def limb_px(self, s_mm: np.ndarray, side_mm: np.ndarray) -> np.ndarray:
        """Pixels (n, 2) whose rays pass the axis at s_mm (n,) at the signed distance side_mm (n,): limb's inverse."""
        axis = self.axis_direction()
        origin = np.array([0.0, 0.0, self.depth_mm]) + s_mm[:, None] * axis
        out = np.tile([0.0, self.upper, 0.0], (len(s_mm), 1))
        for _ in range(8):  # the nearest point is square to axis and ray; converges by a factor r/depth a turn
            square = np.cross(axis, origin + side_mm[:, None] * out)
            out = self.upper * square * np.sign(square[:, 1:2]) / np.linalg.norm(square, axis=1, keepdims=True)
        return self.camera.project((origin + side_mm[:, None] * out) @ self.to_camera())

    def project_fin(self, planform_mm: np.ndarray, angle_rad: float, offset_mm: float = 0.0) -> np.ndarray:
        """Pixels (n, 2) of a planform (n, 2) (s, y) standing at the angle; offset_mm as for in_fin_plane."""
        return self.project_fins(planform_mm, np.array([angle_rad]), np.array([offset_mm]))[0]

    def project_fins(self, planform_mm: np.ndarray, angle_rad: np.ndarray, offset_mm: np.ndarray) -> np.ndarray:
        """Pixels (k, n, 2) of planforms (n, 2) or (k, n, 2) standing at the angles (k,), offset_mm (k,) as for
        in_fin_plane."""
        out, face = self.fin_frame(angle_rad)
        origin = np.array([0.0, 0.0, self.depth_mm]) + offset_mm[:, None] * face
        to_camera = self.to_camera()
        along = self.axis_direction() @ to_camera
        s, y = np.asarray(planform_mm, float)[..., :1], np.asarray(planform_mm, float)[..., 1:]
        return self.camera.project((origin @ to_camera)[:, None] + s * along + y * (out @ to_camera)[:, None])

    def project_grid(
        self, s_mm: np.ndarray, y_mm: np.ndarray, angle_rad: float, offset_mm: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """Pixels x and y, each (m, n) float32, of a grid s (n,) by y (m,) in a fin's plane; else as project_fin."""
        out, face = (unit[0] for unit in self.fin_frame(angle_rad))
        to_camera = self.to_camera()
        origin = (np.array([0.0, 0.0, self.depth_mm]) + offset_mm * face) @ to_camera
        along, across = self.axis_direction() @ to_camera, out @ to_camera
        return self.camera.project_grid(origin, s_mm[:, None] * along, y_mm[:, None] * across)


def view_of_axis(camera: Camera, fore_px: np.ndarray, aft_px: np.ndarray) -> np.ndarray:
    """The fixed view (3, 3) for an axis seen from fore_px to aft_px (each (2,)): rows x, y, z in the camera frame."""
    fore, aft = camera.rays(np.array([fore_px, aft_px], float))
    z = fore + aft
    z /= np.linalg.norm(z)
    x = aft - fore
    x -= z * (x @ z)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z])
