"""A folder of builds as a static site: an index, and a page for each with its picture in space and its files.

The pages need no network: styles, the script and what it draws are in them, and they link only to files
beside them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from recon.errors import ReconError
from recon.frame.caution import CAUTION
from recon.frame.fitting_boxes import spans
from recon.frame.length import both_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.show.exports import ALL_EXPORTS, cover_picture, frame_picture
from recon.workshop.confidence_text import stock_words
from recon.workshop.export.entry import Request
from recon.workshop.papers.space import space_view
from recon.workshop.wording import plural

# What can be taken away from a build's page: ids of exports, in this order.
OFFERED = (
    "papers-a4",
    "papers-letter",
    "papers-html",
    "labels-a4",
    "frame",
    "solids",
    "dxf",
    "parts-workbook",
)
_POLICY = "default-src 'none'; img-src 'self' data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
_STYLE = """
body { font: 16px/1.5 system-ui, sans-serif; color: #1a1a1a; background: #fff; max-width: 60rem; \
margin: 0 auto; padding: 1rem }
a { color: #0b4f8a } img { max-width: 100%; height: auto }
ul.builds { list-style: none; padding: 0; display: grid; gap: 1rem; \
grid-template-columns: repeat(auto-fill, minmax(16rem, 1fr)) }
canvas { width: 100%; height: 28rem; border: 1px solid #767676; touch-action: none; cursor: grab }
th { text-align: left; padding-right: 1rem; vertical-align: top }
p.caution { border: 2px solid; padding: .5rem }
"""


@dataclass(frozen=True)
class GalleryBuild:
    """One build of a gallery.

    Attributes
    ----------
    slug : str
        Name of its folder in the site.
    frame : Frame
    photos : tuple of (str, bytes)
        Names, and JPEG files.
    """

    slug: str
    frame: Frame
    photos: tuple[tuple[str, bytes], ...] = ()

    @property
    def title(self) -> str:
        """What it is called."""
        return self.frame.name or self.slug


def slug_of(name: str, taken: Sequence[str] = ()) -> str:
    """A name for a folder that any web server takes, and that is not taken.

    Examples
    --------
    >>> slug_of("Mum's Trestle (2)"), slug_of("a", ["a"]), slug_of("\u6905")
    ('mum-s-trestle-2', 'a-2', 'build')
    """
    base = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:60] or "build"
    again, free = 1, base
    while free in taken:
        again += 1
        free = f"{base}-{again}"
    return free


def build_files(
    build: GalleryBuild, stocks: Mapping[str, Stock], progress: Callable[[str], None] = lambda _: None
) -> tuple[dict[str, bytes], list[str]]:
    """The files of a build's folder by name, and sentences on what could not be made.

    Parameters
    ----------
    build : GalleryBuild
    stocks : mapping of str to Stock
    progress : callable
        Is given what is being made.
    """
    files: dict[str, bytes] = {"picture.png": frame_picture(build.frame, stocks)}
    missing, offered = [], []
    for id in OFFERED:
        entry = ALL_EXPORTS[id]
        progress(f"{build.title}: {entry.name}")
        try:
            data = entry.make(Request(build.frame, stocks, picture=cover_picture))
        except ReconError as error:
            missing.append(f"{build.title}: no {entry.name}: {error}")
            continue
        files[f"{build.slug}{entry.ending}"] = data
        offered.append((f"{build.slug}{entry.ending}", f"{entry.name}: {entry.what}"))
    files |= {f"photo-{k}.jpg": data for k, (_, data) in enumerate(build.photos, 1)}
    files["index.html"] = _build_page(build, stocks, offered).encode("utf-8")
    return files, missing


def index_page(builds: Sequence[GalleryBuild], title: str) -> str:
    """The page that lists all builds."""
    items = "\n".join(
        f'<li><a href="{b.slug}/index.html"><img src="{b.slug}/picture.png" alt=""><br>'
        f"{escape(b.title)}</a><br>"
        f"{plural(len(b.frame.members), 'member')}, {escape(_size(b.frame))}</li>"
        for b in builds
    )
    return _page(title, f'<h1>{escape(title)}</h1>\n<ul class="builds">{items}</ul>\n')


def _build_page(build: GalleryBuild, stocks: Mapping[str, Stock], offered: Sequence[tuple[str, str]]) -> str:
    frame = build.frame
    facts = (
        ("Size", _size(frame)),
        ("Members", str(len(frame.members))),
        ("Laps", str(len(frame.joints))),
        *([("Fittings", str(len(frame.fittings)))] if frame.fittings else []),
        ("Stock", stock_words(frame, stocks)),
    )
    rows = "".join(f"<tr><th>{a}</th><td>{escape(b)}</td></tr>" for a, b in facts)
    links = "".join(f'<li><a href="{name}">{escape(text)}</a></li>' for name, text in offered)
    photos = "".join(
        f'<figure><img src="photo-{k}.jpg" alt="{escape(name)}">'
        f"<figcaption>{escape(name)}</figcaption></figure>"
        for k, (name, _) in enumerate(build.photos, 1)
    )
    space = space_view(frame, stocks, build.title)
    return _page(
        build.title,
        f'<p><a href="../index.html">All builds</a></p>\n<h1>{escape(build.title)}</h1>\n'
        f"{space.html}\n"
        f'<table>{rows}</table>\n<p class="caution">{escape(CAUTION)}</p>\n'
        f"<h2>Take away</h2>\n<ul>{links}</ul>\n"
        + (f"<h2>Photos</h2>\n{photos}\n" if photos else "")
        + f"<script>{space.script}</script>\n",
    )


def _size(frame: Frame) -> str:
    size = spans(frame)
    if not frame.pitch_mm:
        return " x ".join(f"{s:g}" for s in size) + " holes"
    return " x ".join(both_text(s * frame.pitch_mm) for s in size)


def _page(title: str, body: str) -> str:
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{escape(title)}</title>\n"
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>{_STYLE}</style>\n</head>\n<body>\n{body}</body>\n</html>\n"
    )
