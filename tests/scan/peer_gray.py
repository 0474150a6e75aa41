"""Decode stills with the decoder of opencv-contrib, and generate its patterns; run in a process of its own.

opencv-contrib must not share an environment with opencv-python-headless, so the test starts this file with
PYTHONPATH pointing at a folder that holds it. Reads and writes .npz files:

    peer_gray.py generate WIDTH HEIGHT OUT.npz      the patterns, in the module's order
    peer_gray.py decode WIDTH HEIGHT IN.npz OUT.npz projector pixel of every camera pixel, -1 where refused
"""

from __future__ import annotations

import sys

import cv2
import numpy as np


def generate(width: int, height: int, out: str) -> None:
    pattern = cv2.structured_light.GrayCodePattern.create(width, height)
    _, images = pattern.generate()
    black, white = pattern.getImagesForShadowMasks(images[0], images[0])
    np.savez(out, stack=np.stack([*images, black, white]))


def decode(width: int, height: int, source: str, out: str) -> None:
    pattern = cv2.structured_light.GrayCodePattern.create(width, height)
    pattern.setWhiteThreshold(4)
    images = [np.ascontiguousarray(image) for image in np.load(source)["stack"][:-2]]
    rows, columns = images[0].shape
    found = np.full((rows, columns, 2), -1, dtype=np.int32)
    for y in range(rows):
        for x in range(columns):
            refused, pixel = pattern.getProjPixel(images, x, y)
            if not refused:
                found[y, x] = pixel
    np.savez(out, found=found)


if __name__ == "__main__":
    action, wide, high, *files = sys.argv[1:]
    {"generate": generate, "decode": decode}[action](int(wide), int(high), *files)
