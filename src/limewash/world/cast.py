"""The ray caster's kernels: what each sub-pixel of the camera sees, and how it is lit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.geometry.rays import STACK_DEPTH, blocked, nearest, pixel_direction, pixel_of
from limewash.jit import kernel
from limewash.world.lighting import Lighting, backdrop
from limewash.world.scene import Scene
from limewash.world.textures import GLASS, GLOW, noise, scatter, surface

Array = NDArray[np.float64]
Map = NDArray[np.float32]

LIFT_M = 2e-4
"""Rays towards lights start this far off the surface, so that it does not shade itself."""


@kernel
def hit_pixels(scene: Scene, device: Array, pixels: Array, triangle: NDArray[np.int32], position: Array, normal: Array) -> None:
    """First hit of the rays through pixels (N, 2): triangle (-1: none), position, normal towards the device."""
    stack = np.empty(STACK_DEPTH, dtype=np.int64)
    ox, oy, oz = device[18], device[19], device[20]
    for i in range(len(pixels)):
        dx, dy, dz = pixel_direction(device, pixels[i, 0], pixels[i, 1])
        hit, t, _, _ = nearest(scene.tree, ox, oy, oz, dx, dy, dz, stack)
        triangle[i] = hit
        if hit < 0:
            position[i] = np.nan
            normal[i] = np.nan
            continue
        n = scene.frame[hit]
        side = -1.0 if n[0] * dx + n[1] * dy + n[2] * dz > 0.0 else 1.0
        position[i, 0], position[i, 1], position[i, 2] = ox + t * dx, oy + t * dy, oz + t * dz
        normal[i, 0], normal[i, 1], normal[i, 2] = side * n[0], side * n[1], side * n[2]


@kernel
def free_way(scene: Scene, position: Array, normal: Array, target: Array, free: NDArray[np.bool_]) -> None:
    """Whether points (N, 3) on surfaces see a target (3,): it is on the side of their normal and nothing is between."""
    stack = np.empty(STACK_DEPTH, dtype=np.int64)
    for i in range(len(position)):
        free[i] = _sees(
            scene, position[i, 0], position[i, 1], position[i, 2], normal[i, 0], normal[i, 1], normal[i, 2],
            target[0], target[1], target[2], stack,
        )  # fmt: skip


@kernel
def _sees(
    scene: Scene, x: float, y: float, z: float, nx: float, ny: float, nz: float,
    tx: float, ty: float, tz: float, stack: NDArray[np.int64],
) -> bool:  # fmt: skip
    lx, ly, lz = tx - x, ty - y, tz - z
    if not lx * nx + ly * ny + lz * nz > 0.0:
        return False
    ox, oy, oz = x + nx * LIFT_M, y + ny * LIFT_M, z + nz * LIFT_M
    return not blocked(scene.tree, ox, oy, oz, tx - ox, ty - oy, tz - oz, 1e-9, 1.0 - 1e-9, stack)


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
        turn = scatter(i, 7)
        for k in range(rays):
            r2 = (k + scatter(i, k + 100)) / rays
            radius, angle = np.sqrt(r2), 2.0 * np.pi * (k * 0.6180339887 + turn)
            a, b, c = radius * np.cos(angle), radius * np.sin(angle), np.sqrt(1.0 - r2)
            dx, dy, dz = a * ux + b * vx + c * nx, a * uy + b * vy + c * ny, a * uz + b * vz + c * nz
            if dy > 0.0:
                if not blocked(scene.tree, ox, oy, oz, dx, dy, dz, 1e-9, 14.0, stack):
                    out[i, 0] += 1.0 / rays
            elif not blocked(scene.tree, ox, oy, oz, dx, dy, dz, 1e-9, min(2.0, 0.98 * oy / (1e-9 - dy)), stack):
                out[i, 1] += 1.0 / rays


@kernel
def projector_lux(projector: Array, lumens: float, x: float, y: float, z: float, nx: float, ny: float, nz: float) -> float:
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
    return intensity * max(cosine, 0.0) / d2


@kernel
def _interpolated(cells: Map, step: int, px: float, py: float, x: float, y: float, z: float, nx: float, ny: float, nz: float) -> tuple[float, float]:
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
def _glass_light(light: Lighting, lit: bool, u: float, v: float, x: float, y: float, dx: float, dy: float, dz: float,
                 nx: float, ny: float, nz: float) -> tuple[float, float, float]:  # fmt: skip
    """Luminance R, G, B of a pane: what it mirrors, and the room behind it."""
    nx += 0.012 * (noise(x * 2.1, y * 1.7) - 0.5)
    ny += 0.02 * (noise(x * 1.9 + 20.0, y * 2.3) - 0.5)
    c = -(dx * nx + dy * ny + dz * nz)
    rx, ry, rz = dx + 2.0 * c * nx, dy + 2.0 * c * ny, dz + 2.0 * c * nz
    length = np.sqrt(rx * rx + ry * ry + rz * rz)
    mirror = 0.10 + 0.90 * (1.0 - min(max(c, 0.0), 1.0)) ** 5
    r, g, b = backdrop(light.sky, light.clouds, rx / length, ry / length, rz / length)
    r, g, b = r * mirror, g * mirror, b * mirror
    if lit and light.glow[0] > 0.0:
        folds = 0.82 + 0.18 * np.sin(u * 70.0 + 3.0 * noise(u * 9.0, v * 0.7))
        side = min(max((abs(u) - 0.20) * 9.0, 0.0), 1.0)
        room = 0.75 + 0.25 * v - 0.25 * noise(u * 3.0 + x, v * 3.0 + 50.0)
        level = room * (1.0 - side) + 0.72 * folds * side
        r, g, b = r + light.glow[0] * level, g + light.glow[1] * level * (1.0 - 0.12 * side), b + light.glow[2] * level * (1.0 - 0.3 * side)
    else:  # curtains catch a little of the light outside
        side = min(max((abs(u) - 0.26) * 12.0, 0.0), 1.0)
        folds = (0.7 + 0.3 * np.sin(u * 70.0)) * side + 0.25
        r, g, b = r + 0.035 * folds * light.sky[3], g + 0.035 * folds * light.sky[4], b + 0.035 * folds * light.sky[5]
    return r, g, b


@kernel
def cast_rows(
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
    """
    stack = np.empty(STACK_DEPTH, dtype=np.int64)
    count = samples * samples
    ox, oy, oz = camera[18], camera[19], camera[20]
    around = np.empty(3)
    earth = np.empty(3)
    for k in range(3):
        around[k] = np.pi * 0.5 * (light.sky[k] + light.sky[3 + k])
        earth[k] = 0.16 * (light.sun[3 + k] * max(light.sun[1], 0.0) + around[k])
    for row in range(first_row, last_row):
        for column in range(ambient.shape[1]):
            total_r, total_g, total_b = 0.0, 0.0, 0.0
            for s in range(count):
                px = column + (s % samples + 0.5) / samples - 0.5
                py = row + (s // samples + 0.5) / samples - 0.5
                if lumens > 0.0:
                    spot[row, column, s, 0] = -9.0
                dx, dy, dz = pixel_direction(camera, px, py)
                length = np.sqrt(dx * dx + dy * dy + dz * dz)
                dx, dy, dz = dx / length, dy / length, dz / length
                hit, t, bu, bv = nearest(scene.tree, ox, oy, oz, dx, dy, dz, stack)
                if hit < 0:
                    r, g, b = backdrop(light.sky, light.clouds, dx, dy, dz)
                    total_r, total_g, total_b = total_r + r, total_g + g, total_b + b
                    continue
                x, y, z = ox + t * dx, oy + t * dy, oz + t * dz
                frame, tex, m = scene.frame[hit], scene.texture[hit], scene.material[hit]
                nx, ny, nz = frame[0], frame[1], frame[2]
                if nx * dx + ny * dy + nz * dz > 0.0:
                    nx, ny, nz = -nx, -ny, -nz
                u = tex[0] + bu * tex[2] + bv * tex[4]
                v = tex[1] + bu * tex[3] + bv * tex[5]
                pattern = scene.pattern[m]
                if pattern in (GLASS, GLOW):
                    r, g, b = _glass_light(light, pattern == GLOW, u, v, x, y, dx, dy, dz, nx, ny, nz)
                    total_r, total_g, total_b = total_r + r, total_g + g, total_b + b
                    continue
                red, green, blue, su, sv = surface(pattern, scene.paint[m], u, v)
                # Tilt the normal by the relief: u runs along `frame[3:]`, v across it, upwards.
                ux, uy, uz = frame[3], frame[4], frame[5]
                vx, vy, vz = ny * uz - nz * uy, nz * ux - nx * uz, nx * uy - ny * ux
                if vy < -1e-9:
                    vx, vy, vz = -vx, -vy, -vz
                bx, by, bz = nx - su * ux - sv * vx, ny - su * uy - sv * vy, nz - su * uz - sv * vz
                length = np.sqrt(bx * bx + by * by + bz * bz)
                bx, by, bz = bx / length, by / length, bz / length
                if lumens > 0.0:
                    qx, qy, depth = pixel_of(projector, x, y, z)
                    if (
                        depth > 0.0
                        and -0.5 <= qx <= projector[21] - 0.5
                        and -0.5 <= qy <= projector[22] - 0.5
                        and _sees(scene, x, y, z, nx, ny, nz, projector[18], projector[19], projector[20], stack)
                    ):
                        share = projector_lux(projector, lumens, x, y, z, bx, by, bz) / (np.pi * count)
                        spot[row, column, s, 0], spot[row, column, s, 1] = qx, qy
                        gain[row, column, s, 0] = share * red
                        gain[row, column, s, 1] = share * green
                        gain[row, column, s, 2] = share * blue
                sky, ground = _interpolated(cells, step, px, py, x, y, z, nx, ny, nz)
                rest = 0.6 * max(1.0 - sky - ground, 0.0)
                er = sky * around[0] + (ground + rest) * earth[0]
                eg = sky * around[1] + (ground + rest) * earth[1]
                eb = sky * around[2] + (ground + rest) * earth[2]
                if light.sun[3] > 0.0:
                    sx = light.sun[0] + 0.008 * (scatter(column * 4 + s, row) - 0.5)
                    sy = light.sun[1] + 0.008 * (scatter(column * 4 + s, row + 5000) - 0.5)
                    sz = light.sun[2]
                    cosine = bx * sx + by * sy + bz * sz
                    if cosine > 0.0 and _sees(scene, x, y, z, nx, ny, nz, x + 60 * sx, y + 60 * sy, z + 60 * sz, stack):
                        er += light.sun[3] * cosine
                        eg += light.sun[4] * cosine
                        eb += light.sun[5] * cosine
                for k in range(len(light.lamps)):
                    lamp = light.lamps[k]
                    lx, ly, lz = lamp[0] - x, lamp[1] - y, lamp[2] - z
                    d2 = lx * lx + ly * ly + lz * lz
                    cosine = (lx * bx + ly * by + lz * bz) / np.sqrt(d2)
                    if lamp[6] > 0.0:  # shielded: fades out towards the lantern's own level
                        cosine *= min(max(ly / np.sqrt(d2) * 8.0 + 0.15, 0.0), 1.0)
                    if cosine > 0.0 and _sees(scene, x, y, z, nx, ny, nz, lamp[0], lamp[1], lamp[2], stack):
                        er += lamp[3] * cosine / d2
                        eg += lamp[4] * cosine / d2
                        eb += lamp[5] * cosine / d2
                total_r += er * red / np.pi
                total_g += eg * green / np.pi
                total_b += eb * blue / np.pi
            ambient[row, column, 0] = total_r / count
            ambient[row, column, 1] = total_g / count
            ambient[row, column, 2] = total_b / count


@kernel
def gather_rows(projected: Map, spot: Map, gain: Map, first_row: int, last_row: int, out: Map) -> None:
    """Add the light of a projected picture (H, W, 1 or 3), in [0, 1], to rows of `out` (h, w, 3)."""
    height, width, bands = projected.shape
    for row in range(first_row, last_row):
        for column in range(out.shape[1]):
            r, g, b = np.float32(0.0), np.float32(0.0), np.float32(0.0)
            for s in range(spot.shape[2]):
                x = spot[row, column, s, 0]
                if x < np.float32(-1.0):
                    continue
                x = min(max(x, np.float32(0.0)), np.float32(width - 1))
                y = min(max(spot[row, column, s, 1], np.float32(0.0)), np.float32(height - 1))
                i, j = min(np.int64(y), height - 2), min(np.int64(x), width - 2)
                fy, fx = y - np.float32(i), x - np.float32(j)
                w00, w01 = (np.float32(1.0) - fy) * (np.float32(1.0) - fx), (np.float32(1.0) - fy) * fx
                w10, w11 = fy * (np.float32(1.0) - fx), fy * fx
                red = (
                    w00 * projected[i, j, 0] + w01 * projected[i, j + 1, 0]
                    + w10 * projected[i + 1, j, 0] + w11 * projected[i + 1, j + 1, 0]
                )  # fmt: skip
                green, blue = red, red
                if bands == 3:
                    green = (
                        w00 * projected[i, j, 1] + w01 * projected[i, j + 1, 1]
                        + w10 * projected[i + 1, j, 1] + w11 * projected[i + 1, j + 1, 1]
                    )  # fmt: skip
                    blue = (
                        w00 * projected[i, j, 2] + w01 * projected[i, j + 1, 2]
                        + w10 * projected[i + 1, j, 2] + w11 * projected[i + 1, j + 1, 2]
                    )  # fmt: skip
                r += red * gain[row, column, s, 0]
                g += green * gain[row, column, s, 1]
                b += blue * gain[row, column, s, 2]
            out[row, column, 0] += r
            out[row, column, 1] += g
            out[row, column, 2] += b
