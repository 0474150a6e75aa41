"""Stills of the plain Gray code, against the decoder of opencv-contrib on the same pictures."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from street import Street

from limewash.errors import InputError
from limewash.media.images import write_image
from limewash.scan.stills import decode_gray, gray_code_length, read_gray_stills

SIZE = (320, 180)
PEERS = Path(os.environ.get("LIMEWASH_PEERS", Path(__file__).parents[2] / ".venv" / "peers"))
GET_PEERS = (
    f"opencv-contrib is not in {PEERS}; get it with: pip install --no-deps --target {PEERS} "
    "opencv-contrib-python-headless==5.0.0.93"
)


def peer(*arguments: object) -> None:
    if not (PEERS / "cv2").is_dir():
        if os.environ.get("CI"):
            pytest.fail(GET_PEERS)
        pytest.skip(GET_PEERS)
    script = Path(__file__).with_name("peer_gray.py")
    environment = {**os.environ, "PYTHONPATH": str(PEERS)}
    subprocess.run([sys.executable, str(script), *map(str, arguments)], check=True, env=environment)


def street() -> Street:
    return Street(SIZE, SIZE, box=(195.0, 75.0, 250.0, 165.0), box_shift=(7.0, -1.0), pane=(75.0, 45.0, 115.0, 85.0))


def patterns(size: tuple[int, int]) -> NDArray[np.uint8]:
    """The sequence after its textbook definition: reflected binary, highest bit first, each with its inverse."""
    pictures = []
    for axis, bits in enumerate(gray_code_length(size)):
        index = np.arange(size[axis])
        for bit in reversed(range(bits)):
            line = ((index ^ index >> 1) >> bit & 1).astype(np.uint8) * 255
            shown = np.broadcast_to(line[None, :] if axis == 0 else line[:, None], size[::-1])
            pictures += [shown, 255 - shown]
    return np.stack([*pictures, np.zeros(size[::-1], np.uint8), np.full(size[::-1], 255, np.uint8)])


@pytest.fixture(scope="module")
def stills() -> NDArray[np.uint8]:
    """The street photographed under each pattern: some noise, a tone curve, 8 bits."""
    rng = np.random.default_rng(4)
    scene = street().scene()
    taken = []
    for shown in patterns(SIZE):
        light = 0.02 + 0.8 * scene.light(np.ascontiguousarray(shown))
        noisy = np.clip(light + 0.006 * rng.standard_normal(light.shape), 0, 1)
        taken.append(np.rint(255 * noisy ** (1 / 2.2)).astype(np.uint8))
    return np.stack(taken)


def test_patterns_are_those_that_opencv_generates(tmp_path: Path) -> None:
    peer("generate", *SIZE, tmp_path / "patterns.npz")
    assert np.array_equal(np.load(tmp_path / "patterns.npz")["stack"], patterns(SIZE))


def test_decodes_as_opencv_does(tmp_path: Path, stills: NDArray[np.uint8]) -> None:
    """Source: cv2.structured_light.GrayCodePattern.getProjPixel of opencv-contrib 5.0.0, on the same stills."""
    np.savez(tmp_path / "stills.npz", stack=stills)
    peer("decode", *SIZE, tmp_path / "stills.npz", tmp_path / "found.npz")
    theirs = np.load(tmp_path / "found.npz")["found"]
    ours = decode_gray(stills, SIZE)
    both = (theirs[..., 0] >= 0) & np.isfinite(ours.x) & np.isfinite(ours.y)
    assert both.mean() > 0.55
    assert np.array_equal(ours.x[both], theirs[both, 0])
    assert np.array_equal(ours.y[both], theirs[both, 1])


def test_finds_more_and_errs_less_than_opencv(tmp_path: Path, stills: NDArray[np.uint8]) -> None:
    np.savez(tmp_path / "stills.npz", stack=stills)
    peer("decode", *SIZE, tmp_path / "stills.npz", tmp_path / "found.npz")
    theirs = np.load(tmp_path / "found.npz")["found"]
    scene = street()
    truth = scene.truth()
    seen = np.zeros(SIZE[::-1], bool)
    at = theirs[theirs[..., 0] >= 0]
    seen[at[:, 1], at[:, 0]] = True
    folder = tmp_path / "stills"
    folder.mkdir()
    for n, still in enumerate(stills):
        write_image(folder / f"shot{n}.png", still)
    ours = read_gray_stills(folder, SIZE).correspondence
    coverage = (ours.seen & truth.seen).sum() / truth.seen.sum()
    assert coverage > 0.97
    assert coverage > (seen & truth.seen).sum() / truth.seen.sum()
    errors = scene.errors_px(ours)
    assert np.sqrt(np.mean(errors**2)) < 0.5  # sub-pixel, though the code counts whole pixels
    assert np.mean(errors > 3.0) < 0.002


def test_order_of_black_and_white_does_not_matter(stills: NDArray[np.uint8]) -> None:
    one = decode_gray(stills, SIZE)
    two = decode_gray(stills[[*range(len(stills) - 2), -1, -2]], SIZE)
    assert np.array_equal(one.x, two.x, equal_nan=True)
    assert np.array_equal(one.amplitude, two.amplitude)


def test_ideal_stills_decode_exactly() -> None:
    found = decode_gray(patterns(SIZE), SIZE)
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    assert np.array_equal(found.x, x)
    assert np.array_equal(found.y, y)


def test_rows_before_columns_are_told_and_hidden_files_do_not_count(tmp_path: Path) -> None:
    square = patterns((256, 256))
    columns = 2 * gray_code_length((256, 256))[0]
    for n, still in enumerate([*square[columns:-2], *square[:columns], *square[-2:]]):
        write_image(tmp_path / f"shot{n}.png", still)
    (tmp_path / "._shot0.png").write_bytes(b"a note of the system")
    findings = read_gray_stills(tmp_path, (256, 256)).findings
    assert "mirrored" in {item.code for item in findings.warnings}


def test_unlit_pixels_are_left_out() -> None:
    dark = np.random.default_rng(1).integers(8, 13, (len(patterns(SIZE)), 60, 80)).astype(np.uint8)
    assert np.isfinite(decode_gray(dark, SIZE).x).mean() < 0.01


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda folder: next(folder.glob("*0.png")).unlink(), "holds .* pictures, but a Gray code for 320x180 has 36"),
        (lambda folder: write_image(folder / "shot3.png", np.zeros((5, 5), np.uint8)), "camera standing still"),
        (lambda folder: (folder / "shot3.png").write_bytes(b""), "empty"),
    ],
)
def test_bad_folders_are_refused(
    tmp_path: Path, stills: NDArray[np.uint8], spoil: Callable[[Path], object], message: str
) -> None:
    for n, still in enumerate(stills):
        write_image(tmp_path / f"shot{n}.png", still)
    spoil(tmp_path)
    with pytest.raises(InputError, match=message):
        read_gray_stills(tmp_path, SIZE)


def test_no_folder_and_no_code_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not a folder"):
        read_gray_stills(tmp_path / "none", SIZE)
    for n in range(len(patterns(SIZE))):
        write_image(tmp_path / f"{n}.png", np.full((40, 60), 90, np.uint8))
    with pytest.raises(InputError, match="no Gray code that can be read"):
        read_gray_stills(tmp_path, SIZE)
    with pytest.raises(InputError, match="stack must have shape"):
        decode_gray(np.zeros((4, 5, 6), np.uint8), SIZE)
