import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.errors import ReconError
from recon.frame.stock import ambiguities, explain, find_stock, load_stocks, recognise

STOCKS = load_stocks()
OWN = """
[[stock]]
id = "yard-pine"
material = "softwood"
pitch_mm = 40
width_mm = 60
hole_mm = 12
density_kg_m3 = 500
source = "the yard's own jig"
"""


def write(tmp_path, text):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


# The list


def test_every_entry_tells_its_source():
    assert all(
        "common practice, no source" in s.source or "Federal Highway Administration" in s.source
        for s in STOCKS.values()
    )


def test_punched_posts_have_the_published_sizes():
    # US Federal Highway Administration acceptance letters SS-62 (1996) and SS-82 (1999): 7/16 in holes every
    # 1 in,
    # sizes 1.5 to 2.5 in, walls 0.083 in and 0.105 in.
    posts = [s for s in STOCKS.values() if s.id.startswith("post-")]
    assert {(s.width_mm, s.wall_mm) for s in posts} == {
        (round(size * 25.4, 3), round(wall * 25.4, 2))
        for size in (1.5, 1.75, 2, 2.25, 2.5)
        for wall in (0.083, 0.105)
    }
    assert all(s.pitch_mm == 25.4 and s.hole_mm == pytest.approx(25.4 * 7 / 16, abs=0.01) for s in posts)
    assert all(s.material == "steel" and "SS-62" in s.source and "SS-82" in s.source for s in posts)


def test_metric_holes_clear_their_bolts():
    # ISO 273 medium series clearance holes, from memory: M6 6.6, M8 9.0, M10 11.0 mm.
    medium = {"M6": 6.6, "M8": 9.0, "M10": 11.0}
    metric = [s for s in STOCKS.values() if s.pitch_mm in (25, 40, 50)]
    assert len(metric) == 6
    assert all(s.hole_mm == medium[s.name.split("(")[1].rstrip(")")] for s in metric)


def test_widths_and_holes_are_told_in_pitches():
    assert STOCKS["post-2-083"].width == 2 and STOCKS["softwood-38"].width == 1
    assert STOCKS["softwood-38"].hole == pytest.approx(9.5 / 38.1)


def test_the_user_adds_entries_and_replaces_them(tmp_path):
    stocks = load_stocks(
        write(tmp_path, OWN + OWN.replace("yard-pine", "steel-38").replace("softwood", "steel"))
    )
    assert (
        stocks["yard-pine"].width == 1.5
        and stocks["yard-pine"].wall_mm == 0
        and stocks["yard-pine"].name == "yard-pine"
    )
    assert stocks["steel-38"].pitch_mm == 40 and STOCKS["steel-38"].pitch_mm == 38.1
    assert set(stocks) == set(STOCKS) | {"yard-pine"}


@pytest.mark.parametrize(
    "text, words",
    [
        (OWN + OWN, ["entry 2 'yard-pine' (line 11)", "same id"]),
        (
            OWN.replace("pitch_mm = 40", "pitch_mm = -40"),
            ["entry 1 'yard-pine' (line 2)", "'pitch_mm' is -40", "1 to 1000 mm"],
        ),
        (OWN.replace("pitch_mm = 40", "pitch_mm = nan"), ["entry 1 'yard-pine'", "'pitch_mm'", "finite"]),
        (
            OWN.replace("pitch_mm = 40", "pitch_mm = 1979-05-27"),
            ["entry 1 'yard-pine'", "'pitch_mm' is", "1 to 1000 mm"],
        ),
        (OWN.replace("pitch_mm = 40", "pich_mm = 40"), ["entry 1", "'pitch_mm'"]),
        (OWN + "colour = 'red'", ["no field 'colour'", "the fields are id"]),
        (OWN + "wal_mm = 2", ["no field 'wal_mm'", "perhaps 'wall_mm'"]),
        (OWN.replace("pitch_mm = 40\n", ""), ["entry 1 'yard-pine' (line 2)", "'pitch_mm' is missing"]),
        (OWN.replace("hole_mm = 12", "hole_mm = 45"), ["'hole_mm' is 45", "smaller than pitch and width"]),
        (OWN + "wall_mm = 30", ["'wall_mm' is 30", "less than the width"]),
        (OWN + "lengths_mm = [2400, 0]", ["'lengths_mm [2]' is 0", "more than 0 mm"]),
        (OWN.replace("= 40", "= = 40"), ["not TOML", "line 5"]),
        ("stock = 3", ["'stock' is 3", "[[stock]]"]),
        ("stock = [3]", ["entry 1", "[[stock]] table"]),
        ("", ["'stock' is missing"]),
    ],
)
def test_nonsense_is_told_with_its_place(tmp_path, text, words):
    with pytest.raises(ReconError) as error:
        load_stocks(write(tmp_path, text))
    assert all(word in str(error.value) for word in ["mine.toml", *words])


def test_a_missing_list_is_told(tmp_path):
    with pytest.raises(ReconError, match="no such file"):
        load_stocks(tmp_path / "none.toml")


def test_an_unknown_stock_is_told_with_the_nearest_name():
    with pytest.raises(ReconError, match="perhaps 'steel-38' is meant"):
        find_stock(STOCKS, "steel38")
    assert find_stock(STOCKS, "steel-38") is STOCKS["steel-38"]


@settings(max_examples=150)
@given(st.integers(0, len(OWN)), st.integers(0, 12), st.text('[]="\n.#a1-{},', max_size=4))
def test_no_change_to_a_list_brings_a_traceback(tmp_path_factory, start, length, other):
    path = write(tmp_path_factory.mktemp("lists"), OWN[:start] + other + OWN[start + length :])
    try:
        assert set(load_stocks(path)) > set(STOCKS)
    except ReconError as error:
        assert str(path) in str(error)


# Recognition


@pytest.mark.parametrize("id", sorted(STOCKS))
def test_stock_is_recognised_from_its_own_ratios(id):
    stock = STOCKS[id]
    ranked = recognise(stock.hole, 0.004, stock.width, 0.01, STOCKS)
    group, p = ambiguities(ranked)[0]
    assert stock in group and p > 0.5


def test_posteriors_follow_bayes_rule():
    two = {id: STOCKS[id] for id in ("softwood-38", "softwood-40")}
    x, s = 0.24, 0.01
    likelihood = {id: math.exp(-(((x - t.hole) / s) ** 2) / 2) for id, t in two.items()}
    (first, p), (second, q) = recognise(x, s, 1.0, 0.02, two)
    assert (first.id, second.id) == ("softwood-38", "softwood-40")
    assert p / q == pytest.approx(4 * likelihood["softwood-38"] / likelihood["softwood-40"])  # priors 4 : 1
    assert p + q < 1


@given(
    st.floats(0.1, 0.6),
    st.floats(0.002, 0.1),
    st.floats(0.7, 3),
    st.floats(0.005, 0.3),
    st.sampled_from([None, "wood", "metal"]),
)
def test_probabilities_are_probabilities_in_falling_order(hole, sigma_hole, width, sigma_width, hint):
    ranked = recognise(hole, sigma_hole, width, sigma_width, STOCKS, hint)
    p = [q for _, q in ranked]
    assert p == sorted(p, reverse=True) and len(p) == len(STOCKS)
    assert min(p) >= 0 and sum(p) < 1
    assert sum(q for _, q in ambiguities(ranked)) == pytest.approx(sum(p))
    assert explain(ranked)


def test_a_hint_tells_wood_from_metal():
    ratios = (9.5 / 38.1, 0.005, 1.0, 0.02, STOCKS)
    assert recognise(*ratios, "wood")[0][0].id == "softwood-38"
    assert recognise(*ratios, "metal")[0][0].id == "aluminium-38"
    assert recognise(*ratios, "hardwood")[0][0].id == "hardwood-38"


def test_ratios_of_nothing_in_the_list_are_told_as_such():
    ranked = recognise(0.36, 0.004, 1.2, 0.02, STOCKS)
    assert sum(p for _, p in ranked) < 0.01
    assert "one length that you have measured" in explain(ranked)


def test_equal_ratios_with_other_pitches_are_told(tmp_path):
    twin = OWN.replace("width_mm = 60", "width_mm = 40").replace(
        "hole_mm = 12", f"hole_mm = {40 * 9.5 / 38.1}"
    )
    ranked = recognise(9.5 / 38.1, 0.003, 1.0, 0.01, load_stocks(write(tmp_path, twin)))
    group, p = ambiguities(ranked)[0]
    assert {s.pitch_mm for s in group} == {38.1, 40} and p > 0.9
    assert "pitches of 38.1 and 40 mm look the same" in explain(ranked)


def test_walls_cannot_be_told_and_do_not_matter_to_lengths():
    text = explain(recognise(7 / 16, 0.004, 1.5, 0.02, STOCKS))
    assert "do not tell it from" in text and "look the same" not in text


@pytest.mark.parametrize(
    "ratios", [(0, 0.1, 1, 0.1), (0.2, 0, 1, 0.1), (0.2, 0.1, math.nan, 0.1), (0.2, 0.1, 1, math.inf)]
)
def test_ratios_without_meaning_are_refused(ratios):
    with pytest.raises(ValueError):
        recognise(*ratios, STOCKS)
