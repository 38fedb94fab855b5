"""A drilling jig at full size: the face of a member on paper, with a ruler to check the print by."""

from __future__ import annotations

from recon.frame.length import MM_PER_IN, fine_inch_text, mm_text
from recon.workshop.drawing.vector import CENTRE, FINE, OUTLINE, Disc, Item, Lines, Sheet, Text

RULER_MM = 100.0
CROSS, TICK = 3.0, 2.0  # mm: half the arms of a hole's cross; a tick of the ruler
TEXT, SMALL = 3.4, 2.6  # heights of text, mm
GAP = 16.0  # mm from strip to strip


def jig_sheet(pitch_mm: float, width_mm: float, hole_mm: float, size: tuple[float, float]) -> Sheet:
    """A strip to glue on a batten or to prick through, as many holes long as the paper takes.

    Parameters
    ----------
    pitch_mm, width_mm, hole_mm : float
        Of the stock.
    size : (width, height)
        Of the print area, mm.

    Examples
    --------
    >>> sheet = jig_sheet(38.1, 38.1, 9.5, (180.0, 260.0))
    >>> sum(isinstance(item, Disc) and item.radius == 4.75 for item in sheet.items)
    5
    """
    width, height = size
    x = (width - width_mm) / 2
    count = int((height - 62.0) / pitch_mm)
    top = height - 30.0
    items: list[Item] = [
        Text(
            (width / 2, height - 6.0),
            "Drilling jig, full size: print at 100 %, not fitted to the page",
            TEXT,
            bold=True,
        ),
        Text(
            (width / 2, height - 13.0),
            f"pitch {mm_text(pitch_mm)} ({fine_inch_text(pitch_mm)}), width {mm_text(width_mm)}, "
            f"holes {mm_text(hole_mm)}",
            SMALL,
        ),
        Text(
            (width / 2, top + 7.0),
            "END of the member, hole 1 next to it: lay this line on the sawn end",
            SMALL,
        ),
        Lines((((x - 8, top), (x + width_mm + 8, top)),), OUTLINE),
    ]
    bottom = top - count * pitch_mm
    items.append(Lines((((x, top), (x, bottom)), ((x + width_mm, top), (x + width_mm, bottom))), FINE))
    for k in range(count):
        y, middle = top - (k + 0.5) * pitch_mm, x + width_mm / 2
        items += [
            Disc((middle, y), hole_mm / 2, "white", FINE),
            Lines(
                (((middle - CROSS, y), (middle + CROSS, y)), ((middle, y - CROSS), (middle, y + CROSS))), FINE
            ),
            Text((x + width_mm + 6.0, y), str(k + 1), TEXT, "start", True, False, True),
            Text((x - 6.0, y), mm_text((k + 0.5) * pitch_mm + 1e-6), SMALL, "end"),
        ]
    items += [
        Lines((((x - 8, bottom), (x + width_mm + 8, bottom)),), CENTRE),
        Text(
            (width / 2, bottom - 5.0),
            f"to go on: lay the first line here, so that its hole 1 is hole {count + 1}",
            SMALL,
        ),
        *_ruler((width - RULER_MM) / 2, 14.0),
    ]
    return Sheet(width, height, tuple(items), "Drilling jig")


def _ruler(x: float, y: float) -> list[Item]:
    """A ruler of 100 mm with 3 in below it, to measure the print by."""
    paths = [((x, y), (x + RULER_MM, y))]
    paths += [((x + mm, y), (x + mm, y + (2 * TICK if mm % 50 == 0 else TICK))) for mm in range(0, 101, 10)]
    paths += [((x + n * MM_PER_IN, y), (x + n * MM_PER_IN, y - 2 * TICK)) for n in range(4)]
    words = "check: 100 mm above the line, 3 in below it; measure before you use the sheet"
    return [
        Lines(tuple(paths), FINE),
        Text((x, y + 6.0), "0", SMALL),
        Text((x + 100, y + 6.0), "100 mm", SMALL),
        Text((x + 3 * MM_PER_IN, y - 6.0), "3 in", SMALL),
        Text((x + RULER_MM / 2, y - 11.0), words, SMALL),
    ]
