"""What is lifted, turned and held in each step, what it weighs, and about how long the work takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.assembly.build_step import BuildStep
from recon.workshop.frame_size import known_pitch_mm, stock_of
from recon.workshop.hardware.bolts import Bolt, Fastening
from recon.workshop.hardware.fasteners import bolt_mass_kg, nut_mass_kg, thread_of, washer_mass_kg
from recon.workshop.hardware.sections import member_mass_kg

# What one person lifts at most, as a caution and no more: the reference mass of ISO 11228-1 and the guide of
# the British Health and Safety Executive for men, with the load close to the body; from memory.
ONE_PERSON_KG = 25.0
# Minutes: common practice, no source.  The work takes half as long again or two thirds of it as easily.
MIN_PER_CUT, MIN_PER_HOLE, MIN_PER_BOLT, MIN_PER_MEMBER, MIN_PER_TURN, MIN_AT_END = (
    4.0,
    1.5,
    2.0,
    2.0,
    5.0,
    20.0,
)
WITHIN = 1.5  # factor by which the estimate may be off


@dataclass(frozen=True)
class Lift:
    """What is moved in a step.

    Attributes
    ----------
    step : int
        Its number.
    members : tuple of str
        Ids of members and fittings.
    mass_kg : float
        With the bolts that hold them together.
    """

    step: int
    members: tuple[str, ...]
    mass_kg: float

    @property
    def takes_two(self) -> bool:
        """Whether it is more than one person should lift."""
        return self.mass_kg > ONE_PERSON_KG


def fastening_mass_kg(fastening: Fastening) -> float:
    """Mass of a bolt with its nuts and washers."""
    nuts = sum(n * nut_mass_kg(thread_of(name)) for name, n in fastening.nuts.items())
    washers = sum(washer_mass_kg(fastening.thread.washer(series)) for series in fastening.series)
    return bolt_mass_kg(fastening.thread, fastening.length_mm) + nuts + washers


def lifts(
    frame: Frame,
    stocks: Mapping[str, Stock],
    steps: Sequence[BuildStep],
    fastenings: Mapping[Bolt, Fastening],
) -> tuple[Lift, ...] | None:
    """What is lifted or turned in each step; None where the stock of a member is not known.

    Fittings whose mass is not known weigh nothing here.

    Parameters
    ----------
    frame : Frame
        As it is built.
    stocks : mapping of str to Stock
    steps : sequence of BuildStep
    fastenings : mapping of Bolt to Fastening

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> from recon.frame.stock import load_stocks
    >>> from recon.workshop.assembly.steps import build_steps
    >>> posts = [Member(id, (x, 0, 0), (0, 1, 0), 16, stock="softwood-38") for id, x in (("A", 0), ("B", 9))]
    >>> rail = Member("C", (-1, 1, 1), (1, 0, 0), 12, stock="softwood-38")
    >>> frame = Frame((*posts, rail), find_joints((*posts, rail)), 38.1)
    >>> found = lifts(frame, load_stocks(), build_steps(frame).steps, {})
    >>> [(lift.members, round(lift.mass_kg, 2)) for lift in found]
    [(('C',), 0.33), (('B',), 0.44)]
    """
    pitch_mm = known_pitch_mm(frame, "nothing has a weight")
    mass: dict[str, float] = {}
    for m in frame.members:
        stock = stock_of(m, stocks)
        if stock is None:
            return None
        mass[m.id] = member_mass_kg(stock, m.holes, pitch_mm)
    mass |= {f.id: f.mass_kg or 0.0 for f in frame.fittings}
    found = []
    for step in steps:
        moved = _moved(step, frame)
        inside = (b for b in step.there_bolts if {id for id, _ in b.through} <= set(moved))
        bolts = sum(fastening_mass_kg(fastenings[b]) for b in inside if b in fastenings)
        found.append(Lift(step.number, moved, sum(mass[id] for id in moved) + bolts))
    return tuple(found)


def _moved(step: BuildStep, frame: Frame) -> tuple[str, ...]:
    """What is moved in a step, with the fittings on it; of fittings put on, one by one, the heaviest."""
    if step.kind == "fit":
        new = (f for f in frame.fittings if f.id in step.fittings)
        return (max(new, key=lambda f: f.mass_kg or 0.0).id,)
    members = step.there if step.kind == "turn" else tuple(id for id in step.new if id not in step.laid)
    on = (f for f in frame.fittings if f.id in step.there_fittings)
    return (*members, *(f.id for f in on if set(f.members) <= set(members)))


def work_minutes(cuts: int, holes: int, steps: Sequence[BuildStep]) -> float:
    """About how long the work takes one person who has done the like before, minutes.

    Parameters
    ----------
    cuts, holes : int
        To saw, and to drill.
    steps : sequence of BuildStep
    """
    bolts = sum(len(step.bolts) for step in steps)
    members = len({id for step in steps for id in (*step.new, *step.fittings)})
    turns = sum(step.kind == "turn" for step in steps)
    sawing = cuts * MIN_PER_CUT + holes * MIN_PER_HOLE
    return sawing + bolts * MIN_PER_BOLT + members * MIN_PER_MEMBER + turns * MIN_PER_TURN + MIN_AT_END


def time_words(minutes: float) -> str:
    """'1 1/2 to 3 hours': the range in which the time may lie, to half an hour.

    >>> time_words(130), time_words(30), time_words(700)
    ('1 1/2 to 3 hours', '1/2 to 1 hour', '8 to 17 1/2 hours')
    """
    halves = [max(1, round(minutes / WITHIN / 30)), max(2, round(minutes * WITHIN / 30))]
    low, high = (
        " ".join(filter(None, [str(n // 2) if n // 2 else "", "1/2" if n % 2 else ""])) for n in halves
    )
    return f"{low} to {high} hour{'' if high == '1' else 's'}"
