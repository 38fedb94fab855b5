"""Small videos made of textured planes, seen by a camera whose way is known."""

import cv2
import numpy as np

SIZE = (480, 360)
FOCAL = 400.0


def texture(seed, size=900):
    """(size, size, 3) uint8 with detail from a few px up."""
    rng = np.random.default_rng(seed)
    picture = np.zeros((size, size, 3), np.float32)
    for cells in (6, 24, 96, 200):
        picture += cv2.resize(
            rng.random((cells, cells, 3), np.float32), (size, size), interpolation=cv2.INTER_CUBIC
        )
    return np.clip(picture / 4 * 255, 0, 255).astype(np.uint8)


# Planes from far to near: texture, middle, the two half edges.  The frame's place is the origin, 1 from the
# camera; x right, y down, z away from where the walk begins.
PLANES = [
    (texture(1), (0, 0, 2.0), (4.0, 0, 0), (0, 4.0, 0)),
    (texture(2), (0, 0.45, 0), (1.5, 0, 0), (0, 0, 1.5)),
    (texture(3), (0, 0, 0), (0.22, 0, 0.05), (0, 0.3, 0)),
    (texture(4), (0.05, 0, 0), (0.03, 0, -0.22), (0, 0.25, 0)),
]


def looking_at(place, target=(0, 0, 0)):
    """Rotation (3, 3) and t of a camera that looks at a target, y down."""
    z = np.subtract(target, place) / np.linalg.norm(np.subtract(target, place))
    x = np.cross((0, 1.0, 0), z)
    x /= np.linalg.norm(x)
    R = np.array([x, np.cross(z, x), z])
    return R, -R @ np.asarray(place, float)


def on_circle(degrees, radius=1.0):
    """A place on the walk round the origin, so many degrees from its beginning."""
    a = np.radians(degrees)
    return np.array([radius * np.sin(a), -0.15, -radius * np.cos(a)])


def seen_from(place, target=(0, 0, 0), size=SIZE):
    """The picture (H, W, 3) uint8 from a place."""
    R, t = looking_at(place, target)
    K = np.array([[FOCAL, 0, (size[0] - 1) / 2], [0, FOCAL, (size[1] - 1) / 2], [0, 0, 1]])
    out = np.full((size[1], size[0], 3), 90, np.uint8)
    for picture, middle, u, v in PLANES:
        n = picture.shape[0]
        corners = np.array(
            [
                np.asarray(middle) + a * np.array(u) + b * np.array(v)
                for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
            ]
        )
        if (corners @ R.T + t)[:, 2].min() < 0.05:
            continue
        # From px of the texture to the plane, to the camera, to px.
        onto = np.array([np.multiply(u, 2 / n), np.multiply(v, 2 / n), np.subtract(middle, np.add(u, v))]).T
        warp = K @ (R @ onto + np.outer(t, (0, 0, 1)))
        flat = cv2.warpPerspective(picture, warp, size, flags=cv2.INTER_AREA)
        mask = cv2.warpPerspective(np.full((n, n), 255, np.uint8), warp, size)
        out = np.where(mask[..., None] > 127, flat, out)
    return out


def shaken(picture, length=9):
    """The picture as a jolt of so many px sideways blurs it."""
    return cv2.blur(picture, (length, 1))


def walk(first=0.0, last=90.0, count=46):
    """Pictures of a walk from so many degrees to so many."""
    return [seen_from(on_circle(a)) for a in np.linspace(first, last, count)]


def write_video(path, pictures, rate=15.0, codec="mp4v"):
    """A video file of these pictures; its path."""
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*codec), rate, pictures[0].shape[1::-1])
    assert writer.isOpened()
    for picture in pictures:
        writer.write(picture)
    writer.release()
    return path
