"""What a photo of a made frame shows.

Every opening in it, by casting rays from round its rim to the camera.
"""

import numpy as np

from .shapes import EPS, blocked

PROBES = 8


def tidy(vector):
    """Numbers for JSON: whole ones as integers, others with six decimals."""
    return [int(np.rint(v)) if abs(v - np.rint(v)) < 1e-9 else round(float(v), 6) for v in vector]


def openings(members, stock, cam, clusters, key, xp=np):
    """Openings of `members` (anything with `direction`, `hole(k)`, `holes`) in a photo, as truth records.

    `xy` pixel of the opening's centre, `px` its diameter head on, `seen` how many of 8 probes just outside
    its rim are in sight; openings with none are left out.  `key` names the member's index ("stick", "brace").
    """
    w, r, rows = stock.width, stock.radius, []
    for i, s in enumerate(members):
        u = s.direction
        pin = getattr(s, "pin_axis", None)
        sides = (
            [np.eye(3)[a] for a in range(3) if abs(u[a]) < 0.5]
            if pin is None
            else [np.eye(3)[pin], np.cross(np.eye(3)[pin], u)]
        )
        for k in range(s.holes):
            rows += [
                (i, k, n, s.hole(k) + n * w / 2, u) for n in (v * sign for v in sides for sign in (1, -1))
            ]
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
            key: i,
            "hole": k,
            "normal": tidy(n),
            "xy": [round(float(v), 2) for v in mid[m]],
            "seen": int(seen[m]),
            "px": round(float(cam.f * 2 * r / depth[m]), 2),
        }
        for m, (i, k, n, _, _) in enumerate(rows)
        if seen[m] >= 1 and in_photo[m]
    ]


def truth_of(frame, photos):
    """The truth file's content: frame and photo records, as the README of the data set describes."""
    s = frame.stock
    out = {
        "name": frame.style,
        "seed": frame.seed,
        "style": "plain",
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
            {"first": tidy(b.first), "direction": [round(float(c), 9) for c in b.direction], "holes": b.holes}
            for b in frame.braces
        ]
    return out


def photo_record(frame, cam, clusters, name, f35, render_s, xp=np):
    """One entry of `photos`: camera and openings."""
    record = {
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
        "holes": openings(frame.sticks, frame.stock, cam, clusters, "stick", xp),
    }
    if frame.braces:
        record["brace_holes"] = openings(frame.braces, frame.stock, cam, clusters, "brace", xp)
    return record
