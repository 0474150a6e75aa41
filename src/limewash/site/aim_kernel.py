"""The search's inner loop: aim one projector from one stand at one section, and judge it by sample points.

Pictures are measured in slopes: right and up from the lens axis over the depth along it. A picture of throw
ratio T is 1/T wide and aspect/T high, and its middle lies at (shift x / T, shift y * aspect / T).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel

Array = NDArray[np.float64]

# Columns of a projector's row.
THROW_MIN, THROW_MAX, THROW_EXTRA = 0, 1, 2
SHIFT_LEFT, SHIFT_RIGHT, SHIFT_DOWN, SHIFT_UP = 3, 4, 5, 6
ASPECT, COLUMNS, LIGHT, NATIVE, CORNER = 7, 8, 9, 10, 11
PANEL, F_NUMBER, FOCUS_NEAR, FOCUS_FAR = 12, 13, 14, 15
PROJECTOR_COLUMNS = 16

# Columns of a result.
YAW, TILT, THROW, SHIFT_X, SHIFT_Y = 0, 1, 2, 3, 4
COVERAGE, LOG_CONTRAST, SHARPNESS, USED, SHADED, IN_BEAM, MEAN_LX, ROOM = 5, 6, 7, 8, 9, 10, 11, 12
RESULT_COLUMNS = 13

_ROUNDS = 10
_STILL_RAD = 1e-4
"""Less than this turns the picture by a millimetre or two on the wall: the aim is found."""
_MARGIN = 0.99
"""The picture is made a hundredth larger than the section, so that no edge is lost to aiming."""


@kernel
def judge_stands(
    stands: Array,
    projector: Array,
    hull: Array,
    samples: Array,
    free: NDArray[np.uint8],
    eyes: Array,
    eyes_free: NDArray[np.uint8],
    ambient_lx: float,
    out: Array,
) -> None:
    """Judge each stand, shape (S, 3), for one projector and one section; fills `out`, shape (S, 13).

    Parameters
    ----------
    stands : (S, 3)
        Lens places. [m]
    projector : (16,)
        See the column names of this module.
    hull : (H, 3)
        Corners of the section. [m]
    samples : (M, 12)
        Place, normal, u axis of the part (3 each), area, smallest detail that the audience can read, and the
        side of the patch that the sample stands for. [m, m2]
    free : (S, M)
        1 where the way from stand to sample is free.
    eyes : (P, 3), eyes_free : (S, P)
        Where people's eyes are, and which ways to them are free. [m]
    """
    pose = np.empty(16)
    for index in range(len(stands)):
        result = out[index]
        result[:] = 0.0
        if _aim(stands[index], projector, hull, pose, result):
            _judge(pose, projector, result, samples, free[index], ambient_lx)
            _people(pose, projector, result, eyes, eyes_free[index])


@kernel
def _turn(pose: Array, yaw: float, tilt: float) -> None:
    """Right, up and forward of a device without roll, into pose[3:12]."""
    sy, cy, st, ct = np.sin(yaw), np.cos(yaw), np.sin(tilt), np.cos(tilt)
    pose[3], pose[4], pose[5] = cy, 0.0, sy
    pose[6], pose[7], pose[8] = -sy * st, ct, cy * st
    pose[9], pose[10], pose[11] = sy * ct, st, -cy * ct


@kernel
def _aim(stand: Array, projector: Array, hull: Array, pose: Array, result: Array) -> bool:
    """Square on as far as the lens shift reaches, turned for the rest, zoomed to just hold the section.

    Fills `pose`: lens (3), right, up, forward (9), middle of the picture in slopes (2), nearest and furthest depth.
    """
    aspect = projector[ASPECT]
    yaw, tilt, throw = 0.0, 0.0, projector[THROW_MAX]
    shift_x, shift_y = 0.0, 0.0
    fixed_x = fixed_y = False
    for round_ in range(_ROUNDS):
        _turn(pose, yaw, tilt)
        for axis in range(3):
            pose[axis] = stand[axis] + projector[THROW_EXTRA] * pose[9 + axis]
        left, right, down, up = np.inf, -np.inf, np.inf, -np.inf
        pose[14], pose[15] = np.inf, 0.0
        for corner in range(len(hull)):
            dx = hull[corner, 0] - pose[0]
            dy = hull[corner, 1] - pose[1]
            dz = hull[corner, 2] - pose[2]
            depth = dx * pose[9] + dy * pose[10] + dz * pose[11]
            if depth < 0.2:
                return False
            x = (dx * pose[3] + dy * pose[4] + dz * pose[5]) / depth
            y = (dx * pose[6] + dy * pose[7] + dz * pose[8]) / depth
            left, right, down, up = min(left, x), max(right, x), min(down, y), max(up, y)
            pose[14], pose[15] = min(pose[14], depth), max(pose[15], depth)
        fitting = _MARGIN * min(1.0 / (right - left), aspect / (up - down))
        throw = min(max(fitting, projector[THROW_MIN]), projector[THROW_MAX])
        x, y = (left + right) / 2.0, (down + up) / 2.0
        if not fixed_x:
            shift_x = min(max(x * throw, projector[SHIFT_LEFT]), projector[SHIFT_RIGHT])
        if not fixed_y:
            shift_y = min(max(y * throw / aspect, projector[SHIFT_DOWN]), projector[SHIFT_UP])
        if round_ == 0:
            fixed_x = abs(shift_x - x * throw) > 1e-9
            fixed_y = abs(shift_y - y * throw / aspect) > 1e-9
        if round_ < _ROUNDS - 1:
            turn = np.arctan(x) - np.arctan(shift_x / throw)
            nod = np.arctan(y) - np.arctan(shift_y * aspect / throw)
            if abs(turn) + abs(nod) < _STILL_RAD:
                break
            yaw, tilt = yaw + turn, tilt + nod
            if abs(tilt) > 1.4 or abs(yaw) > 1.4:
                return False
    pose[12], pose[13] = shift_x / throw, shift_y * aspect / throw
    result[YAW], result[TILT], result[THROW], result[SHIFT_X], result[SHIFT_Y] = yaw, tilt, throw, shift_x, shift_y
    result[ROOM] = fitting / projector[THROW_MIN]
    return True


@kernel
def _judge(
    pose: Array,
    projector: Array,
    result: Array,
    samples: Array,
    free: NDArray[np.uint8],
    ambient_lx: float,
) -> None:
    throw, aspect = result[THROW], projector[ASPECT]
    half_x, half_y = 0.5 / throw, 0.5 * aspect / throw
    panel_per_slope2 = throw * throw / aspect
    fall = 1.0 - projector[CORNER]
    # Both ends of the section alike, as far as the lens can be focused.
    focus = 2.0 * pose[14] * pose[15] / (pose[14] + pose[15])
    focus = min(max(focus, projector[FOCUS_NEAR]), projector[FOCUS_FAR])
    focal = throw * projector[PANEL]
    whole = lit = shaded = used = log_contrast = sharp = light = 0.0
    for s in range(len(samples)):
        whole += samples[s, 9]
        dx, dy, dz = samples[s, 0] - pose[0], samples[s, 1] - pose[1], samples[s, 2] - pose[2]
        depth = dx * pose[9] + dy * pose[10] + dz * pose[11]
        facing = -(dx * samples[s, 3] + dy * samples[s, 4] + dz * samples[s, 5])
        if depth <= 0.05 or facing <= 0.0:
            continue
        x = (dx * pose[3] + dy * pose[4] + dz * pose[5]) / depth - pose[12]
        y = (dx * pose[6] + dy * pose[7] + dz * pose[8]) / depth - pose[13]
        # A patch on the edge of the picture is lit in part; without this, coverage would go in steps.
        patch = samples[s, 11] / depth
        part = min(1.0, 0.5 + (half_x - abs(x)) / patch) * min(1.0, 0.5 + (half_y - abs(y)) / patch)
        if abs(x) > half_x + 0.5 * patch or abs(y) > half_y + 0.5 * patch:
            continue
        area = samples[s, 9] * part
        if free[s] == 0:
            shaded += area
            continue
        share = panel_per_slope2 * facing / (depth * depth * depth)
        r2 = (x * x + y * y) / (half_x * half_x + half_y * half_y)
        lux = projector[LIGHT] * share * (1.0 - fall * r2) / (1.0 - fall / 3.0)
        lit += area
        light += area * lux
        used += area * share
        dark = lux / projector[NATIVE] + ambient_lx
        log_contrast += area * np.log((lux + ambient_lx) / max(dark, 1e-12))
        pitch = _pitch(pose, samples, s, dx, dy, dz, depth, throw * projector[COLUMNS])
        if projector[F_NUMBER] > 0.0:
            circle = focal * focal * abs(depth - focus) / (projector[F_NUMBER] * depth * (focus - focal))
            pitch *= np.hypot(1.0, circle * projector[COLUMNS] / projector[PANEL])
        sharp += area * min(1.0, samples[s, 10] / pitch)
    result[COVERAGE] = lit / whole
    result[SHADED] = shaded / whole
    result[USED] = min(used, 1.0)
    if lit > 0.0:
        result[LOG_CONTRAST] = log_contrast / lit
        result[SHARPNESS] = sharp / lit
        result[MEAN_LX] = light / lit


@kernel
def _pitch(
    pose: Array, samples: Array, s: int, dx: float, dy: float, dz: float, depth: float, focal_px: float
) -> float:
    """Longest step from pixel to pixel on the wall: 1 / smallest singular value of d(pixel)/d(wall)."""
    ux, uy, uz = samples[s, 6], samples[s, 7], samples[s, 8]
    nx, ny, nz = samples[s, 3], samples[s, 4], samples[s, 5]
    vx, vy, vz = ny * uz - nz * uy, nz * ux - nx * uz, nx * uy - ny * ux
    x = (dx * pose[3] + dy * pose[4] + dz * pose[5]) / depth
    y = (dx * pose[6] + dy * pose[7] + dz * pose[8]) / depth
    forward = ux * pose[9] + uy * pose[10] + uz * pose[11]
    a = (ux * pose[3] + uy * pose[4] + uz * pose[5]) - x * forward
    c = (ux * pose[6] + uy * pose[7] + uz * pose[8]) - y * forward
    forward = vx * pose[9] + vy * pose[10] + vz * pose[11]
    b = (vx * pose[3] + vy * pose[4] + vz * pose[5]) - x * forward
    d = (vx * pose[6] + vy * pose[7] + vz * pose[8]) - y * forward
    total = a * a + b * b + c * c + d * d
    product = a * d - b * c
    smallest2 = 0.5 * (total - np.sqrt(max(total * total - 4.0 * product * product, 0.0)))
    pitch: float = depth / (focal_px * np.sqrt(max(smallest2, 1e-18)))
    return pitch


@kernel
def _people(pose: Array, projector: Array, result: Array, eyes: Array, free: NDArray[np.uint8]) -> None:
    """Share of the eyes that are in the beam."""
    half_x, half_y = 0.5 / result[THROW], 0.5 * projector[ASPECT] / result[THROW]
    hit = 0
    for e in range(len(eyes)):
        if free[e] == 0:
            continue
        dx, dy, dz = eyes[e, 0] - pose[0], eyes[e, 1] - pose[1], eyes[e, 2] - pose[2]
        depth = dx * pose[9] + dy * pose[10] + dz * pose[11]
        if depth <= 0.05:
            continue
        x = (dx * pose[3] + dy * pose[4] + dz * pose[5]) / depth - pose[12]
        y = (dx * pose[6] + dy * pose[7] + dz * pose[8]) / depth - pose[13]
        if abs(x) <= half_x and abs(y) <= half_y:
            hit += 1
    if len(eyes) > 0:
        result[IN_BEAM] = hit / len(eyes)
