"""What a photo of a made frame shows.

Every opening in it, by casting rays from round its rim to the camera.
"""

import numpy as np

from .build import on_line
from .shapes import EPS, blocked

PROBES = 8


def tidy(vector):
    """Numbers for JSON: whole ones as integers, others with six decimals."""
    return [int(np.rint(v)) if abs(v - np.rint(v)) < 1e-9 else round(float(v), 6) for v in vector]


def faces(member, k):
    """Centre of hole `k` of a member, the direction of its line there, and the normals of its four faces."""
    if hasattr(member, "piece_of"):
        rot, origin = member.piece_of(k)
        return origin + k * rot[0], rot[0], rot[1:]
    u = member.direction
    pin = getattr(member, "pin_axis", None)
    if pin is None:
        return member.hole(k), u, [np.eye(3)[a] for a in range(3) if abs(u[a]) < 0.5]
    return member.hole(k), u, [np.eye(3)[pin], np.cross(np.eye(3)[pin], u)]


def openings(members, stock, cam, clusters, xp=np):
    """Openings of `members` (anything with `direction`, `hole(k)`, `holes`) in a photo, as truth records.

    `stick` the member's index, `xy` pixel of the opening's centre, `px` its diameter head on, `seen` how many
    of 8 probes just outside its rim are in sight; openings with none are left out.
    """
    w, r, rows = stock.width, stock.radius, []
    for i, s in enumerate(members):
        for k in range(s.holes):
            at, u, sides = faces(s, k)
            rows += [(i, k, n, at + n * w / 2, u) for n in (v * sign for v in sides for sign in (1, -1))]
    centre = np.array([p for *_, p, _ in rows])
    normal = np.array([n for _, _, n, _, _ in rows])
    along = np.array([u for *_, u in rows])
    across = np.cross(normal, along)
    a = np.arange(PROBES) * 2 * np.pi / PROBES + np.pi / PROBES
    ring = centre[:, None] + 1.06 * r * (
        np.cos(a)[:, None] * along[:, None] + np.sin(a)[:, None] * across[:, None]
    )
    probes = (ring + normal[:, None] * 6 * EPS).reshape(-1, 3)
    gap = cam.place - probes
    dist = np.linalg.norm(gap, axis=1)

    def as32(v):
        return xp.asarray(np.ascontiguousarray(v, np.float32))

    hidden = blocked(clusters, as32(probes.T), as32((gap / dist[:, None]).T), as32(dist))
    hidden = hidden.get() if hasattr(hidden, "get") else hidden
    xy, z = cam.project(ring.reshape(-1, 3))
    inside = (z > 0.1) & np.all((xy > -0.5) & (xy < np.array(cam.size) - 0.5), axis=1)
    facing = np.repeat(((cam.place - centre) * normal).sum(axis=1) > 1e-3, PROBES)
    seen = (~hidden & inside & facing).reshape(-1, PROBES).sum(axis=1)
    mid, depth = cam.project(centre)
    in_photo = np.all((mid > -0.5) & (mid < np.array(cam.size) - 0.5), axis=1)
    return [
        {
            "stick": i,
            "hole": k,
            "normal": tidy(n),
            "xy": [round(float(v), 2) for v in mid[m]],
            "seen": int(seen[m]),
            "px": round(float(cam.f * 2 * r / depth[m]), 2),
        }
        for m, (i, k, n, _, _) in enumerate(rows)
        if seen[m] >= 1 and in_photo[m]
    ]


def real_place(member):
    """Where a member really is, for the truth file: its first hole, the direction to its last, its bow."""
    first, last = member.hole(0), member.hole(member.holes - 1)
    place = {"first": first.tolist(), "dir": ((last - first) / np.linalg.norm(last - first)).tolist()}
    return place | ({"bow": member.bow.tolist()} if member.bow.any() else {})


def pinned(frame):
    """The bolts of braces: (stick, hole, brace, hole, direction from stick to brace)."""
    out = []
    for i, b in enumerate(frame.braces, len(frame.sticks)):
        for point, axis in frame.pins:
            w = frame.stock.width
            ends = on_line(frame, point, axis, point[axis] - w, point[axis] + w)
            own = [end for end in ends if end[0] == i]
            for s, k in ends:
                if own and s < len(frame.sticks):
                    way = b.hole(own[0][1])[axis] - frame.sticks[s].hole(k)[axis]
                    out.append((s, k, *own[0], (np.eye(3)[axis] * np.sign(way)).tolist()))
    return out


def truth_of(frame, photos, kind="plain"):
    """The truth file's content: frame and photo records, as the README of the data set describes.

    In `holes` and `bolts` braces are counted on after the sticks.
    """
    s = frame.stock
    out = {
        "name": frame.style,
        "seed": frame.seed,
        "style": kind,
        "stock": s.id,
        "pitch_mm": s.pitch_mm,
        "width_mm": s.width_mm,
        "hole_mm": s.hole_mm,
        "sticks": [{"axis": t.axis, "at": tidy(t.at), "holes": t.holes} for t in frame.sticks],
        "bolts": [
            {"a": b.a, "a_hole": b.a_hole, "b": b.b, "b_hole": b.b_hole, "axis": b.axis} for b in frame.bolts
        ],
        "photos": photos,
    }
    if frame.braces:
        out["braces"] = [
            {
                "first": tidy(b.first),
                "direction": [round(float(c), 9) for c in b.direction],
                "flat": np.eye(3)[b.pin_axis].tolist(),
                "holes": b.holes,
            }
            for b in frame.braces
        ]
        keys = ("a", "a_hole", "b", "b_hole", "axis")
        out["bolts"] += [dict(zip(keys, pin)) for pin in pinned(frame)]
    if frame.real:
        for member, real in zip([*out["sticks"], *out.get("braces", [])], frame.real):
            member["real"] = real_place(real)
        out["racked_deg"] = [round(a, 3) for a in frame.rack]
    return out


def photo_record(frame, cam, clusters, name, f35, render_s, xp=np, shot=None):
    """One entry of `photos`: camera and openings.

    `shot`: what became of the picture (`retouch.Shot`).  The camera is that of the picture before it was
    mirrored; the openings' pixels are those of the file.
    """
    members = frame.real or [*frame.sticks, *frame.braces]
    holes = openings(members, frame.stock, cam, clusters, xp) if members else []
    more = {}
    if shot:
        shift = (shot.camera.cx - cam.cx, shot.camera.cy - cam.cy)
        for hole in holes:
            hole["xy"] = [round(float(v), 2) for v in shot.placed(np.add(hole["xy"], shift))]
        more = {"done": list(shot.notes)} if shot.notes else {}
        more |= {"mirrored": True} if shot.mirrored else {}
        cam = shot.camera
    return more | {
        "file": name,
        "size": list(cam.size),
        "f": cam.f,
        "cx": cam.cx,
        "cy": cam.cy,
        "k1": cam.k1,
        "k2": cam.k2,
        "exif_f35": f35,
        "R": cam.R.tolist(),
        "t": cam.t.tolist(),
        "render_s": render_s,
        "holes": holes,
    }
