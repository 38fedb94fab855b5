"""One shopping list with one total: by stick or metre, in packs, and the same unit costs everywhere."""

from pathlib import Path

import pytest

from recon.errors import ReconError
from recon.frame.files import load_frame
from recon.frame.stock import load_stocks
from recon.workshop.cutting.cut_list import cut_list
from recon.workshop.papers.blocks import Paragraph, Table
from recon.workshop.papers.choices import PapersChoices, PartsChoices
from recon.workshop.papers.compose import compose_papers
from recon.workshop.parts.parts_formats import parts_csv, parts_text
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.prices import PriceList, load_prices
from recon.workshop.parts.rack import Rack
from recon.workshop.parts.shopping import shopping_csv, shopping_for, shopping_list, shopping_rows
from tests.workshop.frames import gate

STOCKS = load_stocks()
DATA = Path(__file__).parents[2] / "data" / "workshop"


def shopping(frame, prices, rack=None):
    parts = parts_list(frame, STOCKS, prices, rack)
    return shopping_for(frame, STOCKS, parts, prices, rack)


def test_papers_name_one_cost_the_one_to_pay():
    # Members by the metre came to 29.44, two sticks to 27.00: both were in one set of papers, and no total.
    frame, prices = load_frame(DATA / "trestle.json", STOCKS), load_prices(DATA / "p1.csv", STOCKS)
    found = shopping(frame, prices)
    assert found.total == pytest.approx(37.62) and not found.by_the_metre
    document = compose_papers(frame, STOCKS, PapersChoices(parts=PartsChoices(prices=prices))).document
    blocks = [b for s in document.sections for b in s.blocks]
    cells = [c for b in blocks if isinstance(b, Table) for row in b.rows for c in row]
    texts = cells + [b.text for b in blocks if isinstance(b, Paragraph)]
    assert sum("37.62 EUR" in text for text in texts) == 1
    assert not any("40.06" in text for text in texts)
    text = parts_text(parts_list(frame, STOCKS, prices), frame, found)
    assert "to pay 37.62 EUR" in text and "40.06" not in text


def test_of_stick_and_metre_the_cheaper_one_is_bought():
    # The gate's members are 12 + 12 + 11 + 11 + 6 holes: 52 x 38.1 mm = 1.9812 m; one stick of 2438.4 mm.
    sticks = {("softwood-38", 2438.4): 9.0}
    dear, cheap = (PriceList("EUR", {"softwood-38": metre}, sticks) for metre in (5.0, 4.0))
    assert [(x.item, x.buy, x.price) for x in shopping(gate(), dear).lines[:1]] == [("stick", 1, 9.0)]
    found = shopping(gate(), cheap)
    assert found.by_the_metre == ("softwood-38",)
    assert found.lines[0].item == "metre" and found.lines[0].cost == pytest.approx(1.9812 * 4)
    assert "in sticks it would be 9.00 EUR" in found.notes[0]


def test_bolts_are_bought_in_whole_packs_and_cost_the_same_each_everywhere(tmp_path):
    path = tmp_path / "prices.csv"
    path.write_text(
        "item,id,length,price,pack,currency\n"
        "stick,softwood-38,8 ft,9.00,,EUR\nbolt,5/16 x 3 1/2 in,,3.20,8,EUR\n"
        "nut,5/16,,0.10,,EUR\nwasher,5/16,,1.00,100,EUR\n"
    )
    prices = load_prices(path, STOCKS)
    found = shopping(gate(), prices)
    bolt, nut, washer = found.lines[1:]
    assert (bolt.needed, bolt.pack, bolt.buy, bolt.cost) == (5, 8, 1, pytest.approx(3.2))
    assert (nut.buy, washer.buy, washer.cost) == (5, 1, pytest.approx(1.0))
    assert found.total == pytest.approx(9 + 3.2 + 0.5 + 1.0)
    parts = parts_list(gate(), STOCKS, prices)
    assert next(h.cost for h in parts.hardware if h.kind == "bolt") == pytest.approx(bolt.price / bolt.pack)
    assert ("1", "bolt 5/16-18 x 3 1/2 in, 1 pack of 8 for 5", "3.20 EUR", "3.20 EUR") in shopping_rows(found)
    rows = [line.split(",") for line in parts_csv(parts, found).splitlines()[1:]]
    assert all(row[13] == "" for row in rows if row[0] == "member")  # bought as a stick
    assert shopping_csv(found).splitlines()[1].startswith("stick,softwood-38,2438.4,,1,1,1,9,9,EUR")


def test_a_pack_of_sticks_is_refused(tmp_path):
    path = tmp_path / "prices.csv"
    path.write_text("item,id,length,price,pack\nstick,softwood-38,8 ft,9.00,2\n")
    with pytest.raises(ReconError, match="row 2: 'pack' is how many bolts"):
        load_prices(path, STOCKS)


def test_what_has_no_price_is_named_and_leaves_no_total():
    found = shopping(gate(), PriceList("EUR", {}, {("softwood-38", 2438.4): 9.0}))
    assert found.total is None
    assert "no price for bolt 5/16-18 x 3 1/2 in, nut 5/16-18 and washer 5/16-18" in found.notes[-1]
    assert found.notes[-1].endswith("the rest comes to 9.00.")


def test_without_prices_it_still_says_what_to_buy_and_what_is_owned_is_not():
    found = shopping(gate(), None)
    assert not found.priced and found.total is None and not found.notes
    assert {line.item for line in found.lines} == {"stick", "bolt", "nut", "washer"}
    owned = Rack(
        {("softwood-38", 12): 2, ("softwood-38", 11): 2, ("softwood-38", 6): 1}, (), {("nut", "5/16-18"): 3}
    )
    found = shopping(gate(), None, owned)
    assert {line.item: line.buy for line in found.lines} == {"bolt": 5, "nut": 2, "washer": 10}


def test_members_that_no_stick_gives_are_bought_cut_to_length():
    parts = parts_list(gate(), STOCKS, PriceList("EUR", {"softwood-38": 4.0}))
    found = shopping_list(parts, None, STOCKS, PriceList("EUR", {"softwood-38": 4.0}))
    assert found.lines[0].item == "metre" and not found.by_the_metre
    with pytest.raises(ReconError):
        cut_list(gate(), STOCKS, lengths_mm=[100.0])
