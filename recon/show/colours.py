"""The colours of overlays and pictures, RGB.

Nothing rests on colour alone: patterns and shapes say the same.
"""

from typing import TypeAlias

Colour: TypeAlias = tuple[int, int, int]

# Eight colours that people with any of the common colour blindnesses tell apart: M. Okabe, K. Ito, "Color
# Universal Design", 2002, https://jfly.uni-koeln.de/color/.
BLACK: Colour = (0, 0, 0)
ORANGE: Colour = (230, 159, 0)
SKY: Colour = (86, 180, 233)
GREEN: Colour = (0, 158, 115)
YELLOW: Colour = (240, 228, 66)
BLUE: Colour = (0, 114, 178)
VERMILLION: Colour = (213, 94, 0)
PURPLE: Colour = (204, 121, 167)

# The rest is this project's choice.
WHITE: Colour = (255, 255, 255)
INK: Colour = (25, 25, 25)  # text and fine lines
LEGEND_BACKGROUND: Colour = (236, 236, 236)  # of the strip below an overlay
FOOTER_BACKGROUND: Colour = (240, 240, 240)  # of the strip below the picture of the frame
END: dict[str, Colour] = {"seen": BLACK, "hidden": PURPLE, "cut": VERMILLION}

# The picture of the frame. Members along x, y, z and at an angle: pale tints that differ in lightness too.
TINTS: dict[int | None, Colour] = {
    0: (255, 231, 180),
    1: (190, 222, 245),
    2: (214, 240, 214),
    None: (244, 205, 224),
}
FITTING: Colour = (205, 205, 210)  # castors, boards and the like
HOLE: Colour = (62, 58, 54)
RING: Colour = (30, 30, 30)  # round hole 1, and the rim of a bolt's head
BOLT: Colour = (205, 210, 215)  # seen; one that is assumed is white
CREASE: Colour = (96, 92, 88)  # between faces of one member
OUTLINE: Colour = (20, 20, 20)  # between members
