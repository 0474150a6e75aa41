"""The ray caster's kernels: what each sub-pixel of the camera sees, and how it is lit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.geometry.rays import ANY, NEAREST, STACK_DEPTH, nearest, pixel_direction, pixel_of
from limewash.jit import kernel
from limewash.world.lighting import Lighting
from limewash.world.scene import Scene
from limewash.world.textures import GLASS, ROOM, noise, ramp, scatter, surface

Array = NDArray[np.float64]
Map = NDArray[np.float32]

_FAR_M = 60.0
_SUN_WIDTH = 0.008

LIFT_M = 2e-4
"""Rays towards lights start this far off the surface, so that it does not shade itself."""


@kernel
def hit_pixels(
    scene: Scene,
    device: Array,
    pixels: Array,
    target: Array,
    triangle: NDArray[np.int32],
    position: Array,
    normal: Array,
    free: NDArray[np.bool_],
) -> None:
    """First hit of the rays through pixels (N, 2), and whether it has a free way to a target (3,)."""
    stack = np.empty(STACK_DEPTH, dtype=np.int64)
    ox, oy, oz = device[18], device[19], device[20]
    for i in range(len(pixels)):
        dx, dy, dz = pixel_direction(device, pixels[i, 0], pixels[i, 1])
        hit, t, _, _ = nearest(scene.tree, ox, oy, oz, dx, dy, dz, np.inf, NEAREST, stack)
        triangle[i], free[i] = hit, False
        if hit < 0:
            for k in range(3):
                position[i, k], normal[i, k] = np.nan, np.nan
            continue
        n = scene.frame[hit]
        side = -1.0 if n[0] * dx + n[1] * dy + n[2] * dz > 0.0 else 1.0
        nx, ny, nz = side * n[0], side * n[1], side * n[2]
        x, y, z = ox + t * dx, oy + t * dy, oz + t * dz
        position[i, 0], position[i, 1], position[i, 2] = x, y, z
        normal[i, 0], normal[i, 1], normal[i, 2] = nx, ny, nz
        free[i] = _sees(scene, x, y, z, nx, ny, nz, target[0], target[1], target[2], stack)


@kernel
def plane_growth(projector: Array, camera: Array, pixels: Array, position: Array, normal: Array, out: Map) -> None:
    """How camera x, y (rows of ``out[i]``) grow along projector x, y on the plane through each hit (N, 3).

    Central differences over half a pixel; each shifted ray is met with the plane itself, not with the scene.
    """
    for i in range(len(pixels)):
        nx, ny, nz = normal[i, 0], normal[i, 1], normal[i, 2]
        ox, oy, oz = projector[18], projector[19], projector[20]
        height = (position[i, 0] - ox) * nx + (position[i, 1] - oy) * ny + (position[i, 2] - oz) * nz
        for axis in range(2):
            out[i, 0, axis], out[i, 1, axis] = 0.0, 0.0
            for side in range(-1, 2, 2):
                x = pixels[i, 0] + (0.25 * side if axis == 0 else 0.0)
                y = pixels[i, 1] + (0.25 * side if axis == 1 else 0.0)
                dx, dy, dz = pixel_direction(projector, x, y)
                t = height / (dx * nx + dy * ny + dz * nz)
                cx, cy, _ = pixel_of(camera, ox + t * dx, oy + t * dy, oz + t * dz)
                out[i, 0, axis] += 2.0 * side * cx
                out[i, 1, axis] += 2.0 * side * cy


@kernel
def _sees(
    scene: Scene, x: float, y: float, z: float, nx: float, ny: float, nz: float,
    tx: float, ty: float, tz: float, stack: NDArray[np.int64],
) -> bool:  # fmt: skip
    lx, ly, lz = tx - x, ty - y, tz - z
    if not lx * nx + ly * ny + lz * nz > 0.0:
        return False
    ox, oy, oz = x + nx * LIFT_M, y + ny * LIFT_M, z + nz * LIFT_M
    hit, _, _, _ = nearest(scene.tree, ox, oy, oz, tx - ox, ty - oy, tz - oz, 1.0 - 1e-9, ANY, stack)
    return hit < 0


@kernel
def openness(scene: Scene, position: Array, normal: Array, rays: int, out: Array) -> None:
    """Share of the cosine-weighted half space at each point (N, 3) that is open sky, and open ground: (N, 2)."""
    stack = np.empty(STACK_DEPTH, dtype=np.int64)
    for i in range(len(position)):
        out[i, 0], out[i, 1] = 0.0, 0.0
        nx, ny, nz = normal[i, 0], normal[i, 1], normal[i, 2]
        if not nx * nx + ny * ny + nz * nz > 0.5:
            continue
        # Two directions across the normal.
        if abs(ny) < 0.9:
            length = np.sqrt(nx * nx + nz * nz)
            ux, uy, uz = nz / length, 0.0, -nx / length
        else:
            length = np.sqrt(ny * ny + nz * nz)
            ux, uy, uz = 0.0, nz / length, -ny / length
        vx, vy, vz = ny * uz - nz * uy, nz * ux - nx * uz, nx * uy - ny * ux
        ox, oy, oz = position[i, 0] + nx * LIFT_M, position[i, 1] + ny * LIFT_M, position[i, 2] + nz * LIFT_M
        turn = scatter(i + 7, i)
        for k in range(rays):
            r2 = (k + scatter(i, k + 100)) / rays
            radius, angle = np.sqrt(r2), 2.0 * np.pi * (k * 0.6180339887 + turn)
            a, b, c = radius * np.cos(angle), radius * np.sin(angle), np.sqrt(1.0 - r2)
            dx, dy, dz = a * ux + b * vx + c * nx, a * uy + b * vy + c * ny, a * uz + b * vz + c * nz
            upward = dy > 0.0
            # Something farther off than this shades little; towards the ground, stop short of the ground itself.
            reach = 14.0 if upward else min(2.0, 0.98 * oy / (1e-9 - dy))
            hit, _, _, _ = nearest(scene.tree, ox, oy, oz, dx, dy, dz, reach, ANY, stack)
            if hit < 0:
                out[i, 0 if upward else 1] += 1.0 / rays


@kernel
def projector_lux(
    projector: Array, lumens: float, x: float, y: float, z: float, nx: float, ny: float, nz: float
) -> float:
    """Illuminance that full white throws on a point with a unit normal, nothing being in the way [lx].

    Every pixel of the panel carries the same flux. A pixel's solid angle shrinks off the axis, so that the
    intensity grows as (1 + r²)^1.5, r = distance from the axis on the plane one metre off; a distorted picture
    also packs its pixels by the distortion's determinant.
    """
    lx, ly, lz = x - projector[18], y - projector[19], z - projector[20]
    depth = projector[15] * lx + projector[16] * ly + projector[17] * lz
    px = (projector[9] * lx + projector[10] * ly + projector[11] * lz) / depth
    py = (projector[12] * lx + projector[13] * ly + projector[14] * lz) / depth
    k1, k2, p1, p2, k3 = projector[4], projector[5], projector[6], projector[7], projector[8]
    r2 = px * px + py * py
    radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
    growth = k1 + r2 * (2.0 * k2 + r2 * 3.0 * k3)
    xx = radial + 2.0 * px * px * growth + 2.0 * p1 * py + 6.0 * p2 * px
    yy = radial + 2.0 * py * py * growth + 6.0 * p1 * py + 2.0 * p2 * px
    xy = 2.0 * px * py * growth + 2.0 * p1 * px + 2.0 * p2 * py
    field = projector[21] * projector[22] / (projector[0] * projector[1])
    intensity = lumens * (xx * yy - xy * xy) * (1.0 + r2) ** 1.5 / field
    d2 = lx * lx + ly * ly + lz * lz
    cosine = -(lx * nx + ly * ny + lz * nz) / np.sqrt(d2)
    return float(intensity * max(cosine, 0.0) / d2)


@kernel
def _interpolated(
    cells: Map, step: int, px: float, py: float, x: float, y: float, z: float, nx: float, ny: float, nz: float
) -> tuple[float, float]:
    """Openness at a point from the four nearest cells that lie on its own surface."""
    rows, columns = cells.shape[0], cells.shape[1]
    fx, fy = px / step, py / step
    i0, j0 = int(np.floor(fy)), int(np.floor(fx))
    total, sky, ground = 0.0, 0.0, 0.0
    for i in range(i0, i0 + 2):
        for j in range(j0, j0 + 2):
            cell = cells[min(max(i, 0), rows - 1), min(max(j, 0), columns - 1)]
            near = (1.0 - abs(fx - j)) * (1.0 - abs(fy - i)) + 1e-3
            off = nx * (x - cell[2]) + ny * (y - cell[3]) + nz * (z - cell[4])
            same = max(nx * cell[5] + ny * cell[6] + nz * cell[7], 0.0)
            weight = near * np.exp(-off * off * 400.0) * same * same
            if weight > 0.0:  # also leaves out cells of NaN
                total += weight
                sky += weight * cell[0]
                ground += weight * cell[1]
    if total < 1e-7:
        return 0.35 * (1.0 + ny), 0.12
    return sky / total, ground / total


@kernel
def _glass_light(
    light: Lighting, lit: bool, u: float, v: float, x: float, y: float,
    dx: float, dy: float, dz: float, nx: float, ny: float, nz: float, out: Array,
) -> None:  # fmt: skip
    """Luminance R, G, B of a pane into `out` (3,): what it mirrors of the street, and the room behind it.

    u runs from -0.5 to 0.5 across the window and v from 0 to 1 up it.
    """
    wave = noise(x * 2.1, y * 1.7) - 0.5  # old glass is not quite flat
    c = -(dx * nx + dy * ny + dz * nz)
    up = dy + 2.0 * c * (ny + 0.025 * wave)
    mirror = 0.14 + 0.86 * (1.0 - min(max(c, 0.0), 1.0)) ** 5
    skyline = 0.22 + 0.22 * noise(x * 0.8 + 3.0 * wave, 4.5) + 0.03 * noise(x * 9.0, 8.5)
    open_sky = ramp(up, skyline - 0.02, skyline + 0.02)
    drawn = ramp(abs(u), 0.27, 0.33)
    folds = 0.78 + 0.22 * np.sin(abs(u) * 90.0 + 2.0 * noise(u * 9.0, v))
    room = (0.55 + 0.45 * v) * (0.85 + 0.3 * noise(u * 5.0 + x, v * 4.0))
    inside = room * (1.0 - drawn) + 0.85 * folds * drawn
    for k in range(3):
        sky = light.sky[3 + k] + (light.sky[k] - light.sky[3 + k]) * min(max(up, 0.0), 1.0)
        outside = sky * open_sky + light.sky[9 + k] * (1.0 - open_sky)
        out[k] = mirror * outside + 0.09 * light.sky[9 + k] * (0.2 + 1.3 * folds * drawn)
        if lit:
            out[k] += light.glow[k] * inside


@kernel
def _other_light(
    scene: Scene, light: Lighting, sky: float, ground: float, x: float, y: float, z: float,
    nx: float, ny: float, nz: float, bx: float, by: float, bz: float,
    jitter_x: float, jitter_y: float, stack: NDArray[np.int64], out: Array,
) -> None:  # fmt: skip
    """Illuminance R, G, B by sky, surroundings, lamps and sun into `out` (3,); n: the face, b: its relief. [lx]"""
    ground += 0.6 * max(1.0 - sky - ground, 0.0)  # what is not open is some other surface near by
    for k in range(3):
        around = 0.5 * np.pi * (light.sky[k] + light.sky[3 + k])
        earth = 0.16 * (light.sun[3 + k] * max(light.sun[1], 0.0) + around)
        out[k] = sky * around + ground * earth
    lamps = len(light.lamps)
    for n in range(lamps + 1):
        if n < lamps:
            lamp = light.lamps[n]
            lx, ly, lz = lamp[0] - x, lamp[1] - y, lamp[2] - z
            strength = 1.0 / (lx * lx + ly * ly + lz * lz)
            if lamp[6] > 0.0:  # shielded: fades out towards the lantern's own level
                strength *= min(max(ly * np.sqrt(strength) * 8.0 + 0.15, 0.0), 1.0)
        else:  # the sun's disc, a bit enlarged, so that shadows have a soft edge
            lamp = light.sun
            lx, ly, lz = _FAR_M * (lamp[0] + jitter_x), _FAR_M * (lamp[1] + jitter_y), _FAR_M * lamp[2]
            strength = 1.0 if lamp[3] > 0.0 else 0.0
        cosine = (lx * bx + ly * by + lz * bz) / np.sqrt(lx * lx + ly * ly + lz * lz)
        if cosine * strength > 0.0 and _sees(scene, x, y, z, nx, ny, nz, x + lx, y + ly, z + lz, stack):
            for k in range(3):
                out[k] += lamp[3 + k] * cosine * strength


@kernel
def cast_rows(  # noqa: PLR0912, PLR0915 -- the caster's one loop
    scene: Scene,
    camera: Array,
    projector: Array,
    lumens: float,
    light: Lighting,
    cells: Map,
    step: int,
    samples: int,
    first_row: int,
    last_row: int,
    spot: Map,
    gain: Map,
    ambient: Map,
    albedo: Map,
    bare: Map,
) -> None:
    """Fill rows of a view.

    Parameters
    ----------
    lumens : float
        Of the projector at full white; 0 leaves `spot` and `gain` alone. [lm]
    cells : ndarray of shape (rows, columns, 8)
        Sky and ground openness, position, normal at every `step`-th camera pixel.
    spot : ndarray of shape (h, w, samples², 2)
        Projector pixel that lights each sub-pixel; -9 where none does. [px]
    gain : ndarray of shape (h, w, samples², 3)
        Luminance R, G, B of the sub-pixel's share under full white. [cd/m2]
    ambient : ndarray of shape (h, w, 3)
        Luminance R, G, B under all other light. [cd/m2]
    albedo : ndarray of shape (h, w, 3)
        Diffuse reflectance R, G, B.
    bare : ndarray of shape (h, w)
        Share of the pixel's sub-pixels that meet nothing; they add nothing to `ambient`.
    """
    stack = np.empty(STACK_DEPTH, dtype=np.int64)
    total, colour, lux, paint = np.empty(3), np.empty(3), np.empty(3), np.empty(5)
    count = samples * samples
    ox, oy, oz = camera[18], camera[19], camera[20]
    for index in range(first_row * ambient.shape[1], last_row * ambient.shape[1]):
        row, column = index // ambient.shape[1], index % ambient.shape[1]
        for k in range(3):
            total[k], colour[k] = 0.0, 0.0
        missed = 0
        for s in range(count):
            px = column + (s % samples + 0.5) / samples - 0.5
            py = row + (s // samples + 0.5) / samples - 0.5
            if lumens > 0.0:
                spot[row, column, s, 0] = -9.0
            dx, dy, dz = pixel_direction(camera, px, py)
            length = np.sqrt(dx * dx + dy * dy + dz * dz)
            dx, dy, dz = dx / length, dy / length, dz / length
            hit, t, bu, bv = nearest(scene.tree, ox, oy, oz, dx, dy, dz, np.inf, NEAREST, stack)
            if hit < 0:
                missed += 1
                continue
            x, y, z = ox + t * dx, oy + t * dy, oz + t * dz
            frame, tex, m = scene.frame[hit], scene.texture[hit], scene.material[hit]
            nx, ny, nz = frame[0], frame[1], frame[2]
            if nx * dx + ny * dy + nz * dz > 0.0:
                nx, ny, nz = -nx, -ny, -nz
            u = tex[0] + bu * tex[2] + bv * tex[4]
            v = tex[1] + bu * tex[3] + bv * tex[5]
            kind = scene.kind[m]
            if kind >= GLASS:
                _glass_light(light, kind == ROOM, u, v, x, y, dx, dy, dz, nx, ny, nz, lux)
                for k in range(3):
                    total[k] += lux[k]
                continue
            surface(kind, scene.paint[m], u, v, paint)
            # Tilt the normal by the relief: u runs along `frame[3:]`, v across it, upwards.
            ux, uy, uz = frame[3], frame[4], frame[5]
            vx, vy, vz = ny * uz - nz * uy, nz * ux - nx * uz, nx * uy - ny * ux
            su, sv = paint[3], -paint[4] if vy < -1e-9 else paint[4]
            bx, by, bz = nx - su * ux - sv * vx, ny - su * uy - sv * vy, nz - su * uz - sv * vz
            length = np.sqrt(bx * bx + by * by + bz * bz)
            bx, by, bz = bx / length, by / length, bz / length
            if lumens > 0.0:
                qx, qy, _ = pixel_of(projector, x, y, z)
                on_panel = -0.5 <= qx <= projector[21] - 0.5 and -0.5 <= qy <= projector[22] - 0.5
                if on_panel and _sees(scene, x, y, z, nx, ny, nz, projector[18], projector[19], projector[20], stack):
                    share = projector_lux(projector, lumens, x, y, z, bx, by, bz) / (np.pi * count)
                    spot[row, column, s, 0], spot[row, column, s, 1] = qx, qy
                    for k in range(3):
                        gain[row, column, s, k] = share * paint[k]
            sky, ground = _interpolated(cells, step, px, py, x, y, z, nx, ny, nz)
            jitter_x = _SUN_WIDTH * (scatter(column * 4 + s, row) - 0.5)
            jitter_y = _SUN_WIDTH * (scatter(column * 4 + s, row + 5000) - 0.5)
            _other_light(scene, light, sky, ground, x, y, z, nx, ny, nz, bx, by, bz, jitter_x, jitter_y, stack, lux)
            for k in range(3):
                total[k] += paint[k] * lux[k] / np.pi
                colour[k] += paint[k]
        for k in range(3):
            ambient[row, column, k] = total[k] / count
            albedo[row, column, k] = colour[k] / count
        bare[row, column] = missed / count


@kernel
def gather_rows(projected: Map, spot: Map, gain: Map, first_row: int, last_row: int, out: Map) -> None:
    """Add the light of a projected picture (H, W, 1 or 3), in [0, 1], to rows of `out` (h, w, 3)."""
    height, width, bands = projected.shape
    one, zero = np.float32(1.0), np.float32(0.0)
    value = np.zeros(3, dtype=np.float32)
    for row in range(first_row, last_row):
        for column in range(out.shape[1]):
            for s in range(spot.shape[2]):
                x, y = spot[row, column, s, 0], spot[row, column, s, 1]
                if x < -one:
                    continue
                # The panel's outer pixels reach half a pixel beyond their centres.
                x, y = min(max(x, zero), np.float32(width - 1)), min(max(y, zero), np.float32(height - 1))
                i, j = min(np.int64(y), height - 2), min(np.int64(x), width - 2)
                fy, fx = y - np.float32(i), x - np.float32(j)
                for k in range(bands):
                    top = projected[i, j, k] * (one - fx) + projected[i, j + 1, k] * fx
                    low = projected[i + 1, j, k] * (one - fx) + projected[i + 1, j + 1, k] * fx
                    value[k] = top * (one - fy) + low * fy
                if bands == 1:
                    value[1], value[2] = value[0], value[0]
                for k in range(3):
                    out[row, column, k] += value[k] * gain[row, column, s, k]
