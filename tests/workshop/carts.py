"""A small cart: two long rails, two cross rails below, four castors, a board on top."""

from recon.frame.fitting import Fitting
from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member, StockUse

X, Y = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)
DOWN, UP = (0.0, 0.0, -1.0), (0.0, 0.0, 1.0)


def castor(id, member, holes, **more):
    return Fitting(
        id, "castor", tuple((member, k) for k in holes), DOWN, (100, 70, 105), 3.0, "castor 80", 0.42, **more
    )


def cart() -> Frame:
    """Rails A and B along x on cross rails C and D, with castors F1 to F4 below these and board F5 on top."""
    members = tuple(
        Member(*each, stock="softwood-38")
        for each in (
            ("A", (0.0, 0.0, 1.0), X, 20),
            ("B", (0.0, 9.0, 1.0), X, 20),
            ("C", (2.0, -1.0, 0.0), Y, 12),
            ("D", (17.0, -1.0, 0.0), Y, 12),
        )
    )
    castors = tuple(
        castor(f"F{n}", member, holes)
        for n, (member, holes) in enumerate([("C", (2, 4)), ("C", (7, 9)), ("D", (2, 4)), ("D", (7, 9))], 1)
    )
    corners = (("A", 4), ("A", 15), ("B", 4), ("B", 15))
    board = Fitting("F5", "board", corners, UP, (520, 400, 18), 18.0)
    joints = find_joints(members)
    return Frame(members, joints, 38.1, StockUse("softwood-38"), name="Cart", fittings=(*castors, board))
