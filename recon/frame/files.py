"""The frame file: JSON, described by `frame.schema.json`.

A file written by hand needs no more than `members`, each with `first`, `direction` and `holes`, and
`pitch_mm`; labels, widths, joints and the rest are then filled in.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, replace
from functools import cache
from importlib import resources
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from recon.errors import ReconError
from recon.files import write_text_atomic
from recon.frame.entries import bolt_of_dict, end_from_dict, end_to_dict, joint_to_dict
from recon.frame.fitting import fitting_to_dict
from recon.frame.fitting_entries import fittings_of
from recon.frame.joints import collisions, find_joints, mark_three_way
from recon.frame.lattice import on_lattice
from recon.frame.model import Frame, Joint, Member, Photo, StockUse, as_tuple, bounds, label
from recon.frame.squareness import off_place_from_dict, racked_from_dict, to_dict
from recon.frame.stock import Stock, find_stock, load_stocks
from recon.frame.user_files import Place, check, parse_json, read_text, suggest
from recon.geometry.arrays import Vector
from recon.geometry.camera import Camera

FORMAT, VERSION = "drilled-frame", 1
LONGEST_NAME = 200  # characters of a frame's name; as the schema has it
NEAR_UNIT = 0.05  # a direction's length this near to 1 is rounding, as in [0.7, 0.7, 0]; else it is refused
MOST_CLASHES = 1000  # pairs of members in one place that are counted; one is named
MISSED = 0.5  # pitches: holes farther than this off their bolt's axis are other holes


def load_frame(path: str | Path, stocks: dict[str, Stock] | None = None) -> Frame:
    """The frame in a file.

    Parameters
    ----------
    path : str or Path
    stocks : dict, optional
        The stock list that names in the file are looked up in; `load_stocks()` by default.

    Raises
    ------
    ReconError
        Naming file and place, where the file cannot be read or holds no possible frame.
    """
    return frame_from_dict(parse_json(read_text(path, "frame file"), str(path)), str(path), stocks)


def save_frame(frame: Frame, path: str | Path, overwrite: bool = False) -> None:
    """Writes a frame file, whole or not at all.

    Raises
    ------
    ReconError
        Where `path` exists and `overwrite` is False, where it cannot be written, and where the frame holds
        numbers that are not finite.
    """
    text = frame_to_text(frame)
    if os.path.lexists(path) and not overwrite:
        raise ReconError(
            f"{path}: exists already and is left as it is; choose another name, or allow overwriting."
        )
    write_text_atomic(path, text)


def frame_to_text(frame: Frame) -> str:
    """The text of a frame file, a line a member, a joint, a photo.

    Raises
    ------
    ReconError
        For numbers that are not finite.
    """

    def line(value: Any) -> str:
        return json.dumps(value, ensure_ascii=False, allow_nan=False)

    def entry(value: Any) -> str:
        if isinstance(value, list) and value:
            return "[\n  " + ",\n  ".join(map(line, value)) + "\n ]"
        return line(value)

    try:
        return (
            "{\n" + ",\n".join(f" {line(k)}: {entry(v)}" for k, v in frame_to_dict(frame).items()) + "\n}\n"
        )
    except ValueError as error:
        raise ReconError("The frame holds a number that is not finite and cannot be saved.") from error


def frame_to_dict(frame: Frame) -> dict[str, Any]:
    """The frame as the plain values of a frame file.

    Examples
    --------
    >>> frame_to_dict(Frame((), name="Stand"))["name"]
    'Stand'
    """
    data = {
        "format": FORMAT,
        "version": VERSION,
        "name": frame.name,
        "pitch_mm": frame.pitch_mm,
        "stock": frame.stock and asdict(frame.stock),
        "members": list(map(_member_to_dict, frame.members)),
        "joints": list(map(joint_to_dict, frame.joints)),
        "photos": list(map(photo_to_dict, frame.photos)),
        "doubts": list(frame.doubts),
    }
    if frame.racked:
        data["racked"] = to_dict(frame.racked)
    if frame.fittings:
        data["fittings"] = list(map(fitting_to_dict, frame.fittings))
    plain: dict[str, Any] = _plain(data)
    return plain


def _member_to_dict(m: Member) -> dict[str, Any]:
    """The member; how far it is off its place is left out where that is not known."""
    entry = {**vars(m), "ends": list(map(end_to_dict, m.ends))}  # asdict takes five times as long
    off = entry.pop("off_place")
    return {**entry, "off_place": to_dict(off)} if off else entry


def _plain(value: Any) -> Any:
    """Tuples and arrays as lists, NumPy's numbers as Python's."""
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return value.tolist() if isinstance(value, (np.ndarray, np.generic)) else value


def frame_from_dict(data: Any, where: str = "frame", stocks: dict[str, Stock] | None = None) -> Frame:
    """The frame in the plain values of a frame file.

    Parameters
    ----------
    data
        As `parse_json` gives it.
    where : str
        Names the file in errors.
    stocks : dict, optional
        The stock list that names are looked up in; `load_stocks()` by default.

    Raises
    ------
    ReconError
        Where the values make no possible frame.

    Examples
    --------
    >>> frame = frame_from_dict({"members": [{"first": [0, 0, 0], "direction": [0, 0, 1], "holes": 5}]})
    >>> frame.members[0].id, frame.members[0].last.tolist()
    ('A', [0.0, 0.0, 4.0])
    """
    _check_version(data, where)
    check(data, schema(), where, lambda path: _place(data, path))
    if stocks is None:
        stocks = load_stocks()
    stock = _stock_use(data.get("stock"), where, stocks)
    pitch_mm = data.get("pitch_mm")
    if pitch_mm is None and stock and stock.id:
        pitch_mm = stocks[stock.id].pitch_mm
    members = _members(data["members"], where, stock, stocks)
    frame = Frame(
        members=members,
        joints=(),
        pitch_mm=None if pitch_mm is None else float(pitch_mm),
        stock=stock,
        photos=tuple(map(photo_from_dict, data.get("photos", ()))),
        doubts=tuple(data.get("doubts", ())),
        name=data.get("name", ""),
        racked=racked_from_dict(data.get("racked")),
        fittings=fittings_of(data.get("fittings", ()), members, where, _unit),
    )
    _check_room(members, where)
    joints = _joints(data["joints"], members, where) if "joints" in data else find_joints(members)
    return replace(frame, joints=joints)


@cache
def schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a frame file."""
    text = resources.files("recon.frame").joinpath("frame.schema.json").read_text(encoding="utf-8")
    parsed: dict[str, Any] = json.loads(text)
    return parsed


def _check_version(data: Any, where: str) -> None:
    if not isinstance(data, dict):
        return  # the schema says what is wrong
    if data.get("format", FORMAT) != FORMAT:
        raise ReconError(f"{where}: this is not a frame file; its 'format' is not \"{FORMAT}\".")
    version = data.get("version", VERSION)
    if isinstance(version, int) and not isinstance(version, bool) and version > VERSION:
        raise ReconError(
            f"{where}: written by a newer program (version {_short(version)} of the file; this one reads "
            f"{VERSION}); update this program, or save the frame as version {VERSION}."
        )


def _short(number: int) -> str:
    return str(number) if number < 10**9 else "far above"


def _place(data: Any, path: Place) -> str:
    """Words for a path in a frame file: "member C, end 2"."""
    if not path or path[0] not in ("members", "joints", "photos", "stock", "doubts", "fittings"):
        return ""
    if path[0] == "stock":
        return "stock"
    if len(path) < 2:
        return ""
    entry, number = data[path[0]][path[1]], int(path[1]) + 1
    words = f"{str(path[0])[:-1]} {number}"
    if isinstance(entry, dict):
        if path[0] in ("members", "fittings") and _plain_text(entry.get("id")):
            words = f"{str(path[0])[:-1]} {entry['id']}"
        if path[0] == "joints" and _plain_text(entry.get("a")) and _plain_text(entry.get("b")):
            words += f" ({entry['a']} to {entry['b']})"
    if len(path) > 3 and path[2] == "ends":
        words += f", end {int(path[3]) + 1}"
    return words + (", camera" if len(path) > 3 and path[2] == "camera" else "")


def _plain_text(value: object) -> bool:
    return isinstance(value, str) and 0 < len(value) <= 16 and value.isprintable()


def _stock_use(entry: dict[str, Any] | None, where: str, stocks: dict[str, Stock]) -> StockUse | None:
    if entry is None:
        return None
    if entry["id"]:
        _known(stocks, entry["id"], where)
    return StockUse(entry["id"], entry.get("how", "given"), float(entry.get("confidence", 1)))


def _known(stocks: dict[str, Stock], id: str, where: str) -> Stock:
    try:
        return find_stock(stocks, id)
    except ReconError as error:
        raise ReconError(f"{where}: {error}") from error


def _labels(entries: list[dict[str, Any]], where: str) -> set[str]:
    """The labels in use.  Raises ReconError where two members have the same."""
    used: dict[str, int] = {}
    for i, entry in enumerate(entries):
        if "id" in entry:
            if entry["id"] in used:
                raise ReconError(
                    f"{where}: members {used[entry['id']] + 1} and {i + 1} of the list are both called "
                    f"'{entry['id']}'; give one of them another label."
                )
            used[entry["id"]] = i
    return set(used)


def _members(
    entries: list[dict[str, Any]], where: str, frame_stock: StockUse | None, stocks: dict[str, Stock]
) -> tuple[Member, ...]:
    used = _labels(entries, where)
    free = (name for name in map(label, count()) if name not in used)
    members = []
    for entry in entries:
        id = entry.get("id") or next(free)
        stock = entry.get("stock", frame_stock.id if frame_stock else None) or None
        usual = _known(stocks, stock, f"{where}: member {id}").width if stock else 1.0
        start, end = map(end_from_dict, entry.get("ends", ({"state": "seen"},) * 2))
        members.append(
            Member(
                id=id,
                first=as_tuple(entry["first"]),
                direction=_unit(entry["direction"], f"{where}: member {id}", "direction"),
                holes=int(entry["holes"]),
                width=float(entry.get("width", usual)),
                stock=stock,
                confidence=float(entry.get("confidence", 1)),
                ends=(start, end),
                on_lattice=entry.get("on_lattice", True),
                seen=int(entry.get("seen", 0)),
                off_place=off_place_from_dict(entry.get("off_place")),
            )
        )
    fits = on_lattice(members)
    return tuple(
        m if "on_lattice" in entry else replace(m, on_lattice=bool(fit))
        for m, entry, fit in zip(members, entries, fits)
    )


def _unit(vector: ArrayLike, place: str, field: str) -> Vector:
    v = np.array(vector, float)
    length = np.linalg.norm(v)
    if length < 1e-6:
        raise ReconError(f"{place}: '{field}' is zero; give a unit vector such as [0, 0, 1].")
    unit = v / length
    if abs(length - 1) > NEAR_UNIT:
        text = ", ".join(f"{x:.6g}" for x in unit + 0.0)
        raise ReconError(f"{place}: '{field}' is {length:.4g} long; it must be a unit vector, here [{text}].")
    return as_tuple(v if abs(length - 1) < 1e-12 else unit)


def _check_room(members: tuple[Member, ...], where: str) -> None:
    at = {m.id: m for m in members}
    found = collisions(members, MOST_CLASHES)
    clashes = [(a, b) for a, b, _ in found if at[a].on_lattice and at[b].on_lattice]
    if clashes:
        a, b = clashes[0]
        (low_a, high_a), (low_b, high_b) = bounds(at[a]), bounds(at[b])
        spot = (np.maximum(low_a, low_b) + np.minimum(high_a, high_b)) / 2
        many = f"{'at least ' if len(found) > MOST_CLASHES else ''}{len(clashes) - 1}"
        more = f" ({many} more pairs do.)" if len(clashes) > 1 else ""
        raise ReconError(
            f"{where}: members {a} and {b} take the same room at "
            f"[{', '.join(f'{x:.4g}' for x in spot + 0.0)}]; move or shorten one of them.{more}"
        )


def _joints(entries: list[dict[str, Any]], members: tuple[Member, ...], where: str) -> tuple[Joint, ...]:
    at = {m.id: m for m in members}
    joints = []
    for i, e in enumerate(entries):
        place = f"{where}: joint {i + 1}"
        for side in ("a", "b"):
            if e[side] not in at:
                raise ReconError(
                    f"{place}: '{side}' is '{e[side][:40]}', and there is no such member; "
                    f"{suggest(e[side][:40], list(at)[:12], 'members are')}."
                )
            holes = at[e[side]].holes
            if e[side + "_hole"] >= holes:
                raise ReconError(
                    f"{place}: '{side}_hole' is {int(e[side + '_hole'])}, but member {e[side]} has "
                    f"{holes} holes; it must be 0 to {holes - 1}, counted from 0."
                )
        if e["a"] == e["b"]:
            raise ReconError(f"{place}: joins member {e['a']} to itself; name two members.")
        joints.append(_joint(e, at[e["a"]], at[e["b"]], place))
    marked = mark_three_way(joints, members)
    return tuple(
        replace(j, three_way=e["three_way"]) if "three_way" in e else j for j, e in zip(marked, entries)
    )


def _joint(e: dict[str, Any], a: Member, b: Member, place: str) -> Joint:
    a_hole, b_hole = int(e["a_hole"]), int(e["b_hole"])
    between = b.hole_centre(b_hole) - a.hole_centre(a_hole)
    distance, expected = np.linalg.norm(between), (a.width + b.width) / 2
    if abs(distance - expected) > MISSED:
        raise ReconError(
            f"{place}: hole {a_hole + 1} of {a.id} and hole {b_hole + 1} of {b.id} are {distance:.4g} "
            f"pitches apart, and no bolt joins them ({expected:.4g} would do); correct the hole numbers."
        )
    axis = np.array(
        _unit(e["axis"], place, "axis") if "axis" in e else between / distance if distance else (0, 0, 1)
    )
    if axis @ between < 0:
        axis = -axis  # it was written from b to a
    bolt, by = bolt_of_dict(e)
    return Joint(a.id, a_hole, b.id, b_hole, as_tuple(axis), bolt, bolt_by=by)


def photo_to_dict(photo: Photo) -> dict[str, Any]:
    """The photo as the plain values of a frame file."""
    return {
        "file": photo.file,
        "size": list(photo.size),
        "used": photo.used,
        "reason": photo.reason,
        "camera": None if photo.camera is None else photo.camera.to_dict(),
    }


def photo_from_dict(entry: dict[str, Any]) -> Photo:
    """The photo in the plain values of a frame file."""
    camera, (width, height) = entry.get("camera"), entry["size"]
    return Photo(
        file=entry["file"],
        size=(int(width), int(height)),
        used=entry.get("used", True),
        reason=entry.get("reason", ""),
        camera=None if camera is None else Camera.from_dict(camera),
    )
