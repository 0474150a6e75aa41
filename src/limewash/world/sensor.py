"""The inner loop of the phone: shutter, noise, tone curve and video matrix in one pass over the picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.media.yuv import chroma_row, luma_row

NOISE_LENGTH = 1 << 16
TONE_STEPS = 1 << 14

F32 = NDArray[np.float32]
I32 = NDArray[np.int32]
F64 = NDArray[np.float64]
U8 = NDArray[np.uint8]


@kernel
def develop(
    store: F32,
    weights: F32,
    shift_px: F64,
    response: F64,
    noise: F32,
    tone: F32,
    seed: int,
    y_plane: U8,
    cb_plane: U8,
    cr_plane: U8,
) -> None:
    """Expose stored pictures and fill a frame's planes (BT.709, limited range).

    Parameters
    ----------
    store : float32, shape (slots, 3, height, width)
        Linear pictures; height and width even.
    weights : float32, shape (height, slots)
        Share of each picture in each row's exposure.
    shift_px : shape (2,)
        How far the picture is moved right and down [px].
    response : shape (3, 3)
        Per channel: signal per unit of the picture; noise variance per signal; constant noise variance.
    noise : float32, shape (NOISE_LENGTH + width,)
        Standard normal numbers.
    tone : float32, shape (TONE_STEPS + 1,)
        Video signal 0 to 1 of the linear signal 0 to 1.
    seed : int
        Draws each row's place in `noise`.
    y_plane, cb_plane, cr_plane : uint8, shapes (height, ...) and twice (height // 2, ...)
        Rows of the frame's planes, which may be longer than the picture is wide.
    """
    height, width = store.shape[2:]
    left = np.int64(np.floor(-shift_px[0]))
    up = np.int64(np.floor(-shift_px[1]))
    across = np.float32(-shift_px[0] - left)
    down = np.float32(-shift_px[1] - up)
    row_light = np.empty(width + 1, np.float32)
    step = np.empty(width, np.int32)
    rounding = np.full(width, np.float32(0.5))
    signal = np.empty((2, 3, width), np.float32)
    for pair in range(height // 2):
        for half in range(2):
            row = 2 * pair + half
            for c in range(3):
                _add_up(store, weights[row], c, row + up, down, left, row_light)
                place = _scramble(seed, row * 3 + c) & (NOISE_LENGTH - 1)
                _sense(row_light, across, response[c], noise[place : place + width], tone, step, signal[half, c])
            luma_row(signal[half], rounding, y_plane[row])
        chroma_row(signal, rounding, cb_plane[pair], cr_plane[pair])


@kernel
def _add_up(store: F32, weights: F32, channel: int, top: np.int64, down: np.float32, left: np.int64, out: F32) -> None:
    """One row of light, `left` columns along and between rows `top` and `top` + 1, clamped at the rims."""
    slots, _, height, width = store.shape
    out[:] = np.float32(0.0)
    first = min(max(-left, 0), width + 1)
    last = min(max(width - left, 0), width + 1)
    for slot in range(slots):
        if weights[slot] == 0.0:
            continue
        upper, lower = weights[slot] * (np.float32(1.0) - down), weights[slot] * down
        above = store[slot, channel, min(max(top, 0), height - 1)]
        below = store[slot, channel, min(max(top + 1, 0), height - 1)]
        for j in range(first, last):
            out[j] += upper * above[j + left] + lower * below[j + left]
        for j in range(first):
            out[j] += upper * above[0] + lower * below[0]
        for j in range(last, width + 1):
            out[j] += upper * above[width - 1] + lower * below[width - 1]


@kernel
def _sense(light: F32, across: np.float32, response: F64, noise: F32, tone: F32, step: I32, out: F32) -> None:
    """Signal of one row and channel: shot and read noise in linear light, then the tone curve.

    Two loops, because the first runs eight samples at a time when there is no table in it.
    """
    scale, slope, floor = np.float32(response[0]), np.float32(response[1]), np.float32(response[2])
    zero, top = np.float32(0.0), np.float32(TONE_STEPS)
    for j in range(step.size):
        x = (light[j] + across * (light[j + 1] - light[j])) * scale
        x = (x + np.sqrt(slope * x + floor) * noise[j]) * top
        x = x if x > zero else zero  # also what is not a number
        x = top if x > top else x
        step[j] = np.int32(x)
    for j in range(step.size):
        out[j] = tone[step[j]]


@kernel
def _scramble(seed: int, number: int) -> np.int64:
    """A well-mixed number for each pair (the finalizer of SplitMix64)."""
    z = np.uint64(seed) * np.uint64(0x9E3779B97F4A7C15) + np.uint64(number) * np.uint64(0xD1B54A32D192ED03)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.int64((z ^ (z >> np.uint64(31))) >> np.uint64(1))
