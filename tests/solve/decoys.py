"""Pictures without a frame: planes of dots, perforated sheet, gratings, tiles, channel, and textures.

    python -m tests.solve.decoys FOLDER

writes a set of them as PNG files, for `python -m recon.bench nothing FOLDER`.
"""

import sys
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

from recon.geometry.camera import Camera

SIZE = (1000, 750)
PX_PER_STEP = 40  # of a texture


def sheet(
    columns: int,
    rows: int,
    hole: float = 0.3,
    face: float = 200,
    ground: float = 40,
    *,
    square: bool = False,
    hexagonal: bool = False,
    joint: float = 0.0,
    ring: float = 0.0,
) -> np.ndarray:
    """(H, W) texture of a plane of openings at one step; half a step of face is left all round.

    `joint` is the width of lines half way between the openings, `ring` how much brighter their rim is.
    """
    s = PX_PER_STEP
    height = np.sqrt(3) / 2 if hexagonal else 1.0
    y, x = np.mgrid[0 : round(rows * height * s), 0 : columns * s] / s
    line = np.floor(y / height)
    u = (x + (0.5 * (line % 2) if hexagonal else 0)) % 1 - 0.5
    v = (y / height % 1 - 0.5) * height
    radius = np.maximum(np.abs(u), np.abs(v)) if square else np.hypot(u, v)
    out = np.full(x.shape, face, float)
    out[(np.abs(u) > 0.5 - joint / 2) | (np.abs(v) > height / 2 - joint / 2)] = ground
    out[radius < hole / 2 * 1.35] += ring
    out[radius < hole / 2] = ground
    return out


def staggered(columns: int, rows: int) -> np.ndarray:
    """(H, W) face of a channel: square openings, every other row half a step on."""
    s = PX_PER_STEP
    y, x = np.mgrid[0 : rows * s // 2, 0 : columns * s] / s
    line = np.floor(y * 2)
    u, v = (x + 0.5 * (line % 2)) % 1 - 0.5, (y * 2 % 1 - 0.5) / 2
    return np.where(np.maximum(np.abs(u), np.abs(v)) < 0.17, 30.0, 205.0)


def camera_at(
    tilt: float, turn: float, roll: float, depth: float, f: float = 900.0, size: tuple[int, int] = SIZE
) -> Camera:
    """A camera before the middle of a plane, tilted by degrees; depth in steps."""
    R = Rotation.from_euler("zxy", [roll, tilt, turn], degrees=True).as_matrix()
    return Camera(f, (size[0] - 1) / 2, (size[1] - 1) / 2, R=R, t=np.array([0, 0, depth]))


def seen_on_plane(
    textures: list[tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]],
    camera: Camera,
    seed: int = 0,
    size: tuple[int, int] = SIZE,
    ground: float = 110,
    blur: float = 0.7,
    noise: float = 3.0,
) -> np.ndarray:
    """(H, W, 3) uint8 picture of textured planes, painted one over the other.

    Each is (texture, corner, along, down): its pixels are at corner + (x along + y down) / PX_PER_STEP.
    """
    rng = np.random.default_rng(seed)
    blotches = cv2.GaussianBlur(rng.normal(0, 1, size[::-1]), (0, 0), 9)
    picture = ground + 10 * blotches / blotches.std()
    K = np.array([[camera.f, 0, camera.cx], [0, camera.f, camera.cy], [0, 0, 1]])
    for texture, corner, along, down in textures:
        columns = [along / PX_PER_STEP, down / PX_PER_STEP, corner]
        H = K @ np.stack([camera.R @ c for c in columns], 1) + np.outer(K @ camera.t, [0, 0, 1])
        # Drawn at twice the size, then halved: no jags.
        twice = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1.0]]) @ H
        big = (2 * size[0], 2 * size[1])
        drawn = cv2.warpPerspective(texture, twice, big, flags=cv2.INTER_LINEAR)
        mask = cv2.warpPerspective(np.ones_like(texture), twice, big, flags=cv2.INTER_LINEAR)
        drawn, mask = (cv2.resize(a, size, interpolation=cv2.INTER_AREA) for a in (drawn, mask))
        picture = picture * (1 - mask) + drawn
    picture = cv2.GaussianBlur(picture, (0, 0), blur) + rng.normal(0, noise, picture.shape)
    tint = np.array([1.0, 0.99, 0.97])
    return np.clip(picture[..., None] * tint + 0.5, 0, 255).astype(np.uint8)


def plane(texture: np.ndarray, camera: Camera, **how) -> np.ndarray:
    """A picture of one plane with its middle at the origin."""
    h, w = np.array(texture.shape) / PX_PER_STEP
    corner = np.array([-w / 2, -h / 2, 0])
    return seen_on_plane([(texture, corner, np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))], camera, **how)


def channel(camera: Camera, columns: int = 18, **how) -> np.ndarray:
    """A picture of a channel's two faces that meet at an edge, each with three staggered rows."""
    face = staggered(columns, 3)
    x, y, z = np.eye(3)
    corner = -columns / 2 * x
    return seen_on_plane([(0.8 * face, corner, x, z), (face, corner - 1.5 * y, x, y)], camera, **how)


def texture(kind: str, seed: int, size: tuple[int, int] = SIZE) -> np.ndarray:
    """(H, W, 3) uint8 picture of clutter: 'gravel', 'noise', 'discs' or 'weave'."""
    rng = np.random.default_rng(seed)
    W, H = size
    if kind == "gravel":
        picture = 90 + 120 * (cv2.GaussianBlur(rng.random((H, W)), (0, 0), 4 + seed % 4) - 0.5) / 0.05
    elif kind == "noise":
        picture = 120 + sum(
            cv2.GaussianBlur(rng.normal(0, 1, (H, W)), (0, 0), s) * s * 18 for s in (1, 2, 4, 8, 16)
        )
    elif kind == "discs":
        picture = np.full((H, W), 190.0)
        for _ in range(900):
            at = (int(rng.integers(W)), int(rng.integers(H)))
            cv2.circle(picture, at, int(rng.integers(4, 9)), float(rng.integers(20, 90)), -1, cv2.LINE_AA)
    else:
        y, x = np.mgrid[0:H, 0:W]
        step = 13 + seed % 5
        bend = 6 * np.sin(y / 97 + seed)
        picture = 120 + 60 * np.sin(2 * np.pi * (x + bend) / step) * np.sin(2 * np.pi * y / step)
    picture = picture + rng.normal(0, 3, (H, W))
    return np.clip(picture[..., None] * np.array([1.0, 0.98, 0.95]), 0, 255).astype(np.uint8)


VIEWS = (  # tilt, turn and roll in degrees, and depth in steps over the larger count of openings
    (8, 5, 3, 1.3),
    (35, 0, 0, 1.3),
    (30, 25, 10, 1.2),
    (50, -15, 20, 1.4),
    (20, -40, -35, 1.3),
)
SHEETS: dict[str, Callable[[], np.ndarray]] = {
    "dots": lambda: sheet(10, 10, 0.45, 235, 25),
    "dots_wide": lambda: sheet(16, 9, 0.3, 235, 25),
    "perforated": lambda: sheet(24, 18, 0.5, 170, 30),
    "perforated_hex": lambda: sheet(22, 22, 0.55, 170, 30, hexagonal=True),
    "grating": lambda: sheet(16, 14, 0.7, 150, 20, square=True),
    "tiles": lambda: sheet(14, 10, 0.0, 200, 90, joint=0.08),
    "optical_table": lambda: sheet(20, 14, 0.26, 120, 15, ring=50),
    "vents": lambda: sheet(12, 8, 0.25, 220, 60, joint=0.06),
}


def all_decoys() -> dict[str, np.ndarray]:
    """Name -> picture, (H, W, 3) uint8 BGR."""
    out = {}
    for name, make in SHEETS.items():
        made = make()
        across = max(made.shape) / PX_PER_STEP
        for k, (tilt, turn, roll, depth) in enumerate(VIEWS):
            out[f"{name}_{k}"] = plane(made, camera_at(tilt, turn, roll, depth * across), seed=k)
    for k, (tilt, turn, roll) in enumerate(((-35, 20, 5), (-50, -30, -10), (-25, 40, 25))):
        out[f"channel_{k}"] = channel(camera_at(tilt, turn, roll, 22), seed=k)
    for kind in ("gravel", "noise", "discs", "weave"):
        for k in range(3):
            out[f"{kind}_{k}"] = texture(kind, k)
    return out


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for name, picture in all_decoys().items():
        cv2.imwrite(str(folder / f"{name}.png"), picture)
