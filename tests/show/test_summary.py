"""The frame in words."""

from dataclasses import replace

from recon.frame.caution import CAUTION
from recon.frame.model import End, EndChoice, Frame, Joint, Member, Photo
from recon.frame.stock import load_stocks
from recon.show.summary import summary_text, three_way_laps
from recon.workshop.wording import lap_words
from tests.growing import grow_frame
from tests.show.scenes import stand

STOCKS = load_stocks()


def flat(text):
    return " ".join(text.split())


def test_members_are_grouped_by_length_with_mm_and_inches():
    text = flat(summary_text(stand(), STOCKS))
    assert "2 x 12 holes 457.2 mm (18 in) A, B" in text
    assert "2 x 13 holes 495.3 mm (19 1/2 in) C, D?" in text
    assert "1 x 6 holes 228.6 mm (9 in) E" in text


def test_holes_count_from_one_for_people():
    assert lap_words(Joint("C", 2, "F", 0, (0, 0, 1))) == "hole 3 of C on hole 1 of F"
    frame = stand()
    text = flat(summary_text(frame, STOCKS))
    said = {"seen": "bolt seen", "assumed": "bolt assumed", "none": "no bolt"}
    assert len(frame.joints) >= 4 and {j.bolt for j in frame.joints} == set(said)
    for j in frame.joints:
        assert f"hole {j.a_hole + 1} of {j.a} on hole {j.b_hole + 1} of {j.b} {said[j.bolt]}" in text


def test_what_is_not_sure_is_said():
    text = flat(summary_text(replace(stand(), doubts=("Photograph it from the north, low.",)), STOCKS))
    assert (
        "D (13 holes, 50% sure): the end at hole 13 is out of sight, so up to 2 more holes could be there."
        in text
    )
    assert (
        "E (6 holes): the end at hole 6 is beyond the photo's border, so up to 1 more hole could be there."
        in text
    )
    assert "Photograph it from the north, low." in text
    assert "A (12 holes" not in text


def test_bolts_seen_said_assumed_and_missing_are_told_apart():
    frame = stand()
    states = (("seen", ""), ("said", "person"), ("assumed", ""), ("none", "person"))
    joints = (replace(j, bolt=b, bolt_by=by) for j, (b, by) in zip(frame.joints, states))
    text = " ".join(summary_text(replace(frame, joints=tuple(joints)), STOCKS).split())
    assert "1 with the bolt seen, 1 with the bolt said to be there, 1 with the bolt assumed" in text
    assert "1 said to have no bolt" in text


def test_the_choices_of_an_end_are_given_with_the_member_that_it_would_reach():
    frame = stand()
    end = End("hidden", 2, (EndChoice(13, 0.6), EndChoice(15, 0.4, "B")))
    members = (replace(m, ends=(m.ends[0], end)) if m.id == "D" else m for m in frame.members)
    text = " ".join(summary_text(replace(frame, members=tuple(members)), STOCKS).split())
    assert "the end at hole 13 is out of sight, so the holes in all are 13 or 15, at B." in text


def test_loose_members_and_loose_pieces_are_reported():
    frame = grow_frame(2, members=4)
    far = (
        Member("ZA", (200.0, 0, 0), (0, 0, 1), 5),
        Member("ZB", (200.0, 1, 0), (1, 0, 0), 5),
        Member("ZC", (300.0, 0, 0), (0, 0, 1), 5),
    )
    loose = replace(
        frame, members=frame.members + far, joints=frame.joints + (Joint("ZA", 0, "ZB", 0, (0, 1, 0)),)
    )
    text = flat(summary_text(loose, STOCKS))
    assert "ZC touches no other member." in text
    assert "The frame is in 2 pieces that do not touch: A, B, C, D; ZA, ZB." in text
    assert "pieces" not in summary_text(frame, STOCKS)


def test_three_way_laps_are_named_once_by_their_members():
    joints = tuple(
        Joint(a, 0, b, 0, (0, 0, 1), three_way=three)
        for a, b, three in (("A", "B", True), ("B", "C", True), ("A", "C", True), ("C", "D", False))
    )
    members = tuple(Member(i, (3.0 * k, 0, 0), (0, 0, 1), 5) for k, i in enumerate("ABCD"))
    frame = Frame(members, joints)
    assert three_way_laps(frame) == [("A", "B", "C")]
    assert "Three-way laps: A, B and C." in summary_text(frame, STOCKS)


def test_stock_and_scale_are_given_with_how_sure():
    text = flat(summary_text(stand(), STOCKS))
    assert STOCKS["softwood-38"].name in text
    assert "recognised from its ratios in the photos; 83% sure." in text
    assert "Pitch 38.1 mm (1 1/2 in)." in text
    given = replace(stand(), stock=replace(stand().stock, how="given"))
    assert "as you gave it." in flat(summary_text(given, STOCKS))


def test_nothing_read_is_called_certain():
    frame = replace(stand(), stock=replace(stand().stock, confidence=1.0))
    assert "99% sure" in summary_text(frame, STOCKS) and "100%" not in summary_text(frame, STOCKS)


def test_without_a_pitch_lengths_are_in_holes_and_the_remedy_is_said():
    text = flat(summary_text(replace(stand(), pitch_mm=None, stock=None), STOCKS))
    assert "mm" not in text and "give the stock or one measured length" in text


def test_mixed_stock_gets_its_own_lengths():
    frame = stand()
    post = replace(frame.members[0], stock="post-1.5-083")
    text = flat(summary_text(replace(frame, members=(post, *frame.members[1:])), STOCKS))
    assert f"{STOCKS['post-1.5-083'].name}: 1 x 12 holes 304.8 mm (12 in) A" in text
    assert f"{STOCKS['softwood-38'].name}: 2 x 13 holes 495.3 mm (19 1/2 in) C, D?" in text


def test_photos_set_aside_and_files_not_read_are_named_with_the_reason():
    frame = replace(
        stand(), photos=(Photo("1.jpg", (8, 6)), Photo("2.jpg", (8, 6), False, "it shows another frame"))
    )
    text = flat(summary_text(frame, STOCKS, [("3.jpg", "the file is empty")]))
    assert "from 1 photo" in text
    assert (
        "1.jpg: used" in text
        and "2.jpg: set aside: it shows another frame" in text
        and "3.jpg: not read: the file is empty" in text
    )


def test_the_caution_is_said_once_and_lines_fit_a_terminal():
    text = summary_text(grow_frame(5, members=40), STOCKS)
    assert flat(text).count(CAUTION) == 1
    assert max(map(len, text.splitlines())) <= 100
