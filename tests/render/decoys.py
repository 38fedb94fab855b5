"""Things with rows of holes, dots or bars that are no frame: what must be refused.

A `Decoy` takes the place of a frame in a scene.  Unit: what one step between holes is, so that openings come
out as large as those of frames.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from . import textures as tx
from .obstacles import slabs

STYLES = ("perforated", "dots", "grating", "tiles", "channel", "breadboard", "fence")
LEAST_FACING = 0.25  # cosine between a panel's normal and the way to a camera.  This project's choice


@dataclass(frozen=True)
class Panel:
    """A flat thing: `rot` its axes (rows, the third its normal), `mid`, three half sizes, its surface.

    `holes` as `shapes.hit_plate` takes them; without them it only has a picture on it.
    """

    rot: np.ndarray
    mid: np.ndarray
    half: np.ndarray
    material: tx.Material
    holes: tuple | None = None


@dataclass(frozen=True)
class Decoy:
    """Panels, and the floor that they stand on; stands where a `TrueFrame` does, without a member."""

    style: str
    seed: int
    panels: tuple[Panel, ...]
    sticks: tuple = ()
    bolts: tuple = ()
    braces: tuple = ()
    pins: tuple = ()
    real: tuple = ()
    rack: None = None
    notes: dict = field(default_factory=dict)

    def corners(self):
        """Corners (N, 3) of all panels."""
        signs = np.array(list(np.ndindex(2, 2, 2))) * 2 - 1
        return np.concatenate([p.mid + (signs * p.half) @ p.rot for p in self.panels])

    def faces(self, place):
        """Whether a camera at `place` sees its first panel, from either side, and not along it."""
        way = place - self.panels[0].mid
        return bool(abs(way @ self.panels[0].rot[2]) > LEAST_FACING * np.linalg.norm(way))

    def add(self, build, rng):
        """Put the panels into a scene; what they are finished as."""
        for p in self.panels:
            size = slabs(p.half) if p.holes is None else (tuple(p.half), *p.holes)
            kind = "prism" if p.holes is None else "plate"
            shape = build.shape(kind, p.rot, p.mid, 0, size, build.material(p.material))
            p.material.rot, p.material.mid = shape.rot, shape.mid
            build.add([shape], p.mid, float(np.linalg.norm(p.half)))
        return self.style


def about_z(angle):
    """Axes (rows) of a thing that lies flat, turned about the vertical."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])


def standing(rng, lean=0.35):
    """Axes (rows) of a thing that stands upright or leans back a little; its second axis points up."""
    level, a = about_z(rng.uniform(0, 6)), rng.uniform(-lean, lean / 3)
    return np.array(
        [level[0], np.cos(a) * level[2] - np.sin(a) * level[1], np.cos(a) * level[1] + np.sin(a) * level[2]]
    ) * np.array([[1.0], [1.0], [-1.0]])


def on_floor(rot, half):
    """Middle of a panel that touches the floor at height 0."""
    return np.array([0, 0, float(np.abs(rot[:, 2]) @ half)])


def metal(rng, seed):
    """A sheet's surface: bare or painted."""
    if rng.random() < 0.6:
        return tx.Material(tx.brushed(np.full(3, rng.uniform(0.35, 0.75)), seed), 0.4, 0.35, True)
    return tx.Material(tx.plain(rng.uniform(0.03, 0.7, 3), seed, 3.0, 0.1), 0.05, 0.4)


def wooden(rng, seed):
    """Wood or paint."""
    base = tx.WOODS[rng.integers(len(tx.WOODS))]
    look = tx.wood(base, seed, 0.4, 0.2) if rng.random() < 0.6 else tx.paint(rng.uniform(0.1, 0.8, 3), seed)
    return tx.Material(look, 0.04, 0.4)


def perforated(rng, seed):
    """Perforated sheet or peg board, round or square holes, staggered or not; or two at an angle."""
    square, stagger = bool(rng.random() < 0.25), bool(rng.random() < 0.4)
    half = np.array([rng.integers(6, 16), rng.integers(6, 14), 0]) + 0.5
    half[2] = rng.uniform(0.02, 0.12)
    radius = rng.uniform(0.12, 0.33)
    holes = ((1.0, 1.0), (radius, radius), square, stagger, None)
    rot = standing(rng) if rng.random() < 0.7 else about_z(rng.uniform(0, 6))
    panels = [Panel(rot, on_floor(rot, half) + (0, 0, rng.uniform(0, 3)), half, metal(rng, seed), holes)]
    if rng.random() < 0.4:  # a box's corner: the same sheet round an edge, so that there are two directions
        p, turned = panels[0], np.array([rot[2], rot[1], -rot[0]])
        mid = p.mid + half[0] * rot[0] + half[0] * turned[0]
        panels.append(Panel(turned, mid, half, metal(rng, seed), holes))
    return panels


def printed(rng, seed):
    """Printed dots on a board, as for calibrating cameras."""
    n = int(rng.integers(6, 14))
    half = np.array([n / 2 + 0.5, n / 2 + 0.5, 0.1])
    look = tx.dots(rng.uniform(0.55, 0.9, 3), rng.uniform(0.01, 0.1, 3), 1.0, rng.uniform(0.15, 0.35))
    rot = standing(rng) if rng.random() < 0.7 else about_z(rng.uniform(0, 6))
    return [Panel(rot, on_floor(rot, half) + (0, 0, rng.uniform(0, 4)), half, tx.Material(look, 0.04, 0.5))]


def grating(rng, seed):
    """Bearing bars with square or long meshes."""
    step = np.array([1.0, rng.choice([1.0, 1.0, 2.5])])
    half = np.array([rng.integers(8, 18) + 0.5, (rng.integers(6, 14) + 0.5) * step[1], rng.uniform(0.2, 0.6)])
    hole = tuple(step / 2 - rng.uniform(0.06, 0.14))
    rot = standing(rng, 0.2) if rng.random() < 0.4 else about_z(rng.uniform(0, 6))
    at = on_floor(rot, half) + (0, 0, rng.uniform(0, 2))
    return [Panel(rot, at, half, metal(rng, seed), (tuple(step), hole, True, False, None))]


def tiled(rng, seed):
    """Tiles, bricks or squares on a panel."""
    u = rng.uniform
    look = [
        tx.bricks(np.full(3, u(0.3, 0.8)), np.full(3, u(0.05, 0.2)), seed, [u(1.0, 2)] * 2, 0.12, 0.1, 0.0),
        tx.bricks((0.4, 0.15, 0.1), np.full(3, 0.4), seed, (u(2, 3), u(0.8, 1.1)), 0.12, 0.4),
        tx.checker(u(0.5, 0.9, 3), u(0.01, 0.1, 3), seed, u(0.7, 1.5)),
    ][rng.integers(3)]
    half = np.array([rng.integers(8, 16), rng.integers(8, 14), 0.3])
    rot = standing(rng, 0.1) if rng.random() < 0.5 else about_z(rng.uniform(0, 6))
    return [Panel(rot, on_floor(rot, half), half, tx.Material(look, 0.08, 0.3))]


def channel_piece(rng, rot, mid, long, high, material, holes):
    """One channel: a web and two flanges, each with rows of holes; the web faces along `rot`'s third axis."""
    thick = 0.06
    wide = rng.integers(1, 3) + 0.5
    web = Panel(rot, mid, np.array([long + 0.5, wide, thick]), material, holes)
    out = [web]
    for side in (-1, 1):
        turned = np.array([rot[0], side * rot[2], -side * rot[1]])
        turned[2] = np.cross(turned[0], turned[1])
        at = mid + side * (wide + thick) * rot[1] - (high + 0.5) * rot[2]
        out.append(Panel(turned, at, np.array([long + 0.5, high + 0.5, thick]), replace(material), holes))
    return out


def channel(rng, seed):
    """One to three channels with holes in two directions on each face, square or round."""
    square = bool(rng.random() < 0.5)
    radius = rng.uniform(0.15, 0.3)
    step = float(rng.choice([1.0, 1.0, 0.5]))
    holes = ((1.0, step), (radius * min(1, 1.4 * step),) * 2, square, False, None)
    panels, turned = [], about_z(rng.uniform(0, 6))
    for n in range(int(rng.integers(1, 4))):
        long, high = float(rng.integers(6, 16)), float(rng.integers(0, 2))
        # Crossing channels lie on each other, as when bolted.
        rot = turned if n % 2 == 0 else np.array([turned[1], -turned[0], turned[2]])
        mid = np.array([*rng.uniform(-4, 4, 2), 2 * high + 1.2 + n * (2 * high + 2.4)])
        panels += channel_piece(rng, rot, mid, long, high, metal(rng, seed), holes)
    return panels


def breadboard(rng, seed):
    """An optical table or breadboard: a thick plate with blind holes in a square grid."""
    half = np.array([rng.integers(8, 18) + 0.5, rng.integers(6, 14) + 0.5, rng.uniform(0.4, 2.0)])
    radius = rng.uniform(0.1, 0.2)
    rot = about_z(rng.uniform(0, 6)) if rng.random() < 0.8 else standing(rng, 0.1)
    holes = ((1.0, 1.0), (radius, radius), False, False, min(0.5, float(half[2])))
    return [Panel(rot, on_floor(rot, half) + (0, 0, rng.uniform(0, 6)), half, metal(rng, seed), holes)]


def fence(rng, seed):
    """Slats on rails, or a lattice of laths aslant."""
    if rng.random() < 0.5:  # pickets: tall openings between slats, in one or two rows
        half = np.array([rng.integers(6, 14) * 1.5, rng.uniform(6, 10), 0.25])
        rows = rng.integers(1, 3)
        holes = ((1.5, 2 * half[1] / rows), (rng.uniform(0.25, 0.5), 0.8 * half[1] / rows), True, False, None)
        rot = standing(rng, 0.02)
    else:  # laths aslant: square openings that stand on a corner
        half = np.array([rng.integers(5, 10) + 0.5, rng.integers(5, 10) + 0.5, 0.15])
        holes = ((1.0, 1.0), (0.33, 0.33), True, False, None)
        rot = standing(rng, 0.05)
        rot = np.array([rot[0] + rot[1], rot[1] - rot[0], np.sqrt(2) * rot[2]]) / np.sqrt(2)
    return [Panel(rot, on_floor(rot, half), half, wooden(rng, seed), holes)]


MAKE = dict(zip(STYLES, (perforated, printed, grating, tiled, channel, breadboard, fence)))


def decoy_of(seed, style=None):
    """A random decoy of `style`, by turns where it is not given."""
    style = style or STYLES[seed % len(STYLES)]
    rng = np.random.default_rng([seed, 6])
    return Decoy(style, seed, tuple(MAKE[style](rng, int(rng.integers(1 << 20)))))


def decoy_truth(decoy, photos):
    """The truth file of a decoy: no member, and cameras whose unit is a step between holes."""
    return {
        "name": decoy.style,
        "seed": decoy.seed,
        "style": "decoy",
        "sticks": [],
        "bolts": [],
        "photos": photos,
    }
