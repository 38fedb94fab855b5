"""The numbers behind the pictures: one text a photo, stage by stage."""

from __future__ import annotations

import numpy as np

from recon.frame.model import label
from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera
from recon.solve.debug.camera_axes import px_text, vanishing_points_px
from recon.solve.debug.members_picture import HIDDEN, HIT, LAP, MISSED, opening_states
from recon.solve.debug.palette import AXES
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Scene
from recon.solve.photo.photo_lattice import PhotoLattice, guess_openings
from recon.solve.photo.photo_reading import PhotoReading


def numbers_text(reading: PhotoReading, scene: Scene) -> str:
    """The numbers of one photo, as far as it got.

    Parameters
    ----------
    reading : the photo by itself
    scene : all photos that are used, with the frame's members as candidates

    Examples
    --------
    >>> import numpy as np
    >>> from recon.image.openings import OPENING
    >>> from recon.solve.photo.read_photo import read_photo
    >>> reading = read_photo("wall.jpg", np.zeros(0, OPENING), (1600, 1200), None)
    >>> numbers_text(reading, Scene((), {}, 1.0)).splitlines()[-1]
    'No lattice: hardly any openings can be seen.'
    """
    lines = [
        f"{reading.name}: {reading.size[0]} x {reading.size[1]} px (working copy)",
        *_detection_lines(reading.openings),
    ]
    lattice = reading.lattice
    if lattice is None:
        return "\n".join([*lines, "", f"No lattice: {reading.reason or 'too few rows agree'}.", ""])
    lines += [
        *_row_lines(reading, lattice),
        *_camera_lines(reading, lattice.camera),
        *_guess_lines(reading, lattice),
    ]
    photo = next((p for p in scene.photos if p.name == reading.name), None)
    if photo is None:
        return "\n".join([*lines, "", "5 set aside: not put together with the other photos.", ""])
    return "\n".join([*lines, *_member_lines(scene, photo), ""])


def _detection_lines(openings: np.ndarray) -> list[str]:
    lines = ["", f"1 detections: {len(openings)}"]
    if len(openings):
        lines.append(
            "  score, major and minor axis in px, at 10 / 50 / 90 %: "
            + "; ".join(
                " / ".join(f"{v:.1f}" for v in np.percentile(openings[f], [10, 50, 90]))
                for f in ("score", "major", "minor")
            )
        )
    return lines


def _row_lines(reading: PhotoReading, lattice: PhotoLattice) -> list[str]:
    rows = lattice.placed.rows
    return [
        "",
        f"2 rows believed: {len(rows)}",
        "  row axis openings steps  evidence (nats)   from px        to px",
        *(
            f"  {i:3d}   {AXES[r.axis]}   {len(r.index):5d}  {r.step.max() - r.step.min() + 1:5d}"
            f"  {r.evidence:10.1f}       "
            f"{px_text(_px(reading, r.index[0])):>13s}  {px_text(_px(reading, r.index[-1])):>13s}"
            for i, r in enumerate(rows)
        ),
    ]


def _camera_lines(reading: PhotoReading, camera: Camera) -> list[str]:
    mean, error = reading.width
    hole = "not measured" if reading.photo is None else f"{reading.photo.hole:.3f} pitches"
    return [
        "",
        "3 camera of this photo alone",
        *_camera_numbers(camera),
        "  vanishing points, px: "
        + "; ".join(f"{AXES[j]} {px_text(p)}" for j, p in enumerate(vanishing_points_px(camera))),
        f"  hole seen: {hole}; width seen: "
        + (f"{mean:.3f} +- {error:.3f} pitches" if np.isfinite(error) else "not measured")
        + f", taken: {reading.lattice_width:g}",
    ]


def _camera_numbers(c: Camera) -> list[str]:
    rows = "; ".join(" ".join(f"{v:+.4f}" for v in r) for r in c.R)
    return [
        f"  f {c.f:.1f} px, middle {c.cx:.1f}, {c.cy:.1f} px, k1 {c.k1:+.5f}, k2 {c.k2:+.5f}",
        f"  R {rows}",
        "  centre, pitches: " + ", ".join(f"{v:.2f}" for v in c.centre),
    ]


def _guess_lines(reading: PhotoReading, lattice: PhotoLattice) -> list[str]:
    out = [
        "",
        f"4 lattice: agreement {lattice.agreement:.3f}, evidence explained {reading.worth:.0f} nats",
        "  row axis first hole (pitches)    face  chance  rms px   next best",
    ]
    for i, (row, sign, guesses) in enumerate(zip(lattice.placed.rows, lattice.placed.sign, lattice.guesses)):
        if not guesses:
            out.append(f"  {i:3d}   {AXES[row.axis]}  no lattice line near it")
            continue
        g = guesses[0]
        seen = np.array([_px(reading, k) for k in row.index])
        off = lattice.camera.project(guess_openings(row, sign, g, reading.lattice_width)) - seen
        other = f"{_cell(guesses[1].first)} {np.exp(guesses[1].log_p):.2f}" if len(guesses) > 1 else "none"
        out.append(
            f"  {i:3d}   {AXES[row.axis]}  {_cell(g.first):24s}  {_face(g.normal)}   {np.exp(g.log_p):5.2f}"
            f"   {_rms(off):5.2f}   {other}"
        )
    return out


def _member_lines(scene: Scene, photo: PosedPhoto) -> list[str]:
    out = [
        "",
        "5 members, all photos together; openings as this photo shows them",
        *_camera_numbers(photo.camera),
        (
            "  member axis first hole (pitches)      holes    hit missed at a lap hidden"
            "  nats here  nats in all  rms px"
        ),
    ]
    for i, (c, s) in enumerate(zip(scene.candidates, opening_states(scene, photo))):
        n = np.bincount(s.state, minlength=5)
        hit = s.hit[s.state == HIT]
        off = s.px[s.state == HIT] - np.c_[photo.openings["x"][hit], photo.openings["y"][hit]]
        out.append(
            f"  {label(i):5s}   {AXES[c.axis]}   {_cell(c.first):24s} {c.holes:6d}"
            f" {n[HIT]:6d} {n[MISSED]:6d} {n[LAP]:8d} {n[HIDDEN]:6d}"
            f"  {s.nats.sum():9.1f}  {c.evidence:11.1f}  {f'{_rms(off):6.2f}' if len(off) else '     -'}"
        )
    return out


def _px(reading: PhotoReading, i: int) -> FloatArray:
    return np.array([reading.openings["x"][i], reading.openings["y"][i]])


def _rms(off: FloatArray) -> float:
    return float(np.sqrt((off**2).sum(1).mean()))


def _cell(point: FloatArray) -> str:
    return ", ".join(f"{v:g}" for v in np.round(point, 2) + 0.0)


def _face(normal: FloatArray) -> str:
    j = int(np.abs(normal).argmax())
    return ("+" if normal[j] > 0 else "-") + AXES[j]
