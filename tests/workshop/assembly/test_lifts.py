"""What is lifted: weights by hand, two people where they are needed, bags with all the bolts, the time."""

from collections import Counter
from dataclasses import replace

import pytest

from recon.frame.stock import load_stocks
from recon.workshop.assembly.lifts import ONE_PERSON_KG, fastening_mass_kg, lifts, work_minutes
from recon.workshop.assembly.steps import build_steps
from recon.workshop.cutting.cut_list import cut_list
from recon.workshop.hardware.kits import kit_counts
from recon.workshop.hardware.sections import member_mass_kg
from recon.workshop.papers.blocks import Paragraph, Table
from recon.workshop.papers.work_blocks import work_blocks
from recon.workshop.parts.parts_list import parts_list
from tests.workshop.frames import gate

STOCKS = load_stocks()


def made(frame):
    parts = parts_list(frame, STOCKS)
    return parts, {bolt: f for bolt, f in parts.bolts if f}, build_steps(frame)


def test_a_turn_lifts_all_that_is_there_with_its_bolts():
    parts, fastenings, steps = made(gate())
    *_, turn = lifts(gate(), STOCKS, steps.steps, fastenings)
    assert steps.steps[-1].kind == "turn" and len(turn.members) == 5
    assert turn.mass_kg == pytest.approx(parts.mass_kg)
    members = sum(member_mass_kg(STOCKS["softwood-38"], m.holes, 38.1) for m in gate().members)
    assert turn.mass_kg == pytest.approx(members + sum(map(fastening_mass_kg, fastenings.values())))


def test_what_one_person_should_not_lift_takes_two():
    frame = gate()
    lead = {id: replace(s, density_kg_m3=20 * s.density_kg_m3) for id, s in STOCKS.items()}
    _, fastenings, steps = made(frame)
    heavy = [lift for lift in lifts(frame, lead, steps.steps, fastenings) if lift.takes_two]
    assert heavy and all(lift.mass_kg > ONE_PERSON_KG for lift in heavy)
    assert not any(lift.takes_two for lift in lifts(frame, STOCKS, steps.steps, fastenings))
    assert lifts(gate(stock=None), STOCKS, steps.steps, {}) is None


def test_the_bags_hold_every_bolt_nut_and_washer_of_the_parts_list():
    parts, fastenings, steps = made(gate())
    bagged = sum((kit_counts(fastenings.get(b) for b in s.bolts) for s in steps.steps), Counter())
    listed = Counter()
    for line in parts.hardware:
        listed[line.kind, line.name] += line.count
    assert bagged == listed


def test_tools_and_lifts_are_named():
    parts, _, steps = made(gate())
    blocks = list(work_blocks(gate(), STOCKS, parts, cut_list(gate(), STOCKS), steps, "all"))
    words = " ".join(b.text for b in blocks if isinstance(b, Paragraph))
    assert "Two: wrench 1/2 in; one holds the head, one turns the nut." in words
    assert "a saw and sandpaper" in words and "1 bit of 9.5 mm (3/8 in)" in words and "A helper" in words
    assert "The heaviest lift is in step" in words and "hours for one person" in words
    (bags,) = (b for b in blocks if isinstance(b, Table))
    assert len(bags.rows) == sum(bool(s.bolts) for s in steps.steps)


def test_more_work_takes_longer():
    _, _, steps = made(gate())
    assert work_minutes(4, 0, steps.steps) < work_minutes(4, 92, steps.steps)
