"""Price lists and racks: read in every usual form, and refused with file, row and remedy."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.errors import ReconError
from recon.frame.stock import load_stocks
from recon.workshop.parts.prices import load_prices
from recon.workshop.parts.rack import OwnedStick, load_rack

STOCKS = load_stocks()
PRICES = """item,id,length,price,currency
metre,softwood-38,,4.20,EUR
stick,softwood-38,2438,9.80,EUR
stick,softwood-38,10 ft,12.30,EUR
member,steel-38,16 holes,8,EUR

# bolts
bolt,M8x90,,0.45,EUR
nut,M8,,0.10,EUR
washer,5/16,,0.05,EUR
"""
RACK = """item,id,length,count,first_hole,drilled,trim
member,softwood-38,16,4
member,softwood-38,16
stick,softwood-38,8 ft,2,,,
stick,steel-38,1000,1,12.7,yes,20
stick,steel-38,1 m,1,,no,
bolt,5/16 x 3-1/2,,20
nut,5/16-18,,20
"""


def write(tmp_path, text, name="list.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_price_list_is_read(tmp_path):
    prices = load_prices(write(tmp_path, PRICES), STOCKS)
    assert prices.currency == "EUR" and prices.metre == {"softwood-38": 4.2}
    assert prices.stick == {("softwood-38", 2438): 9.8, ("softwood-38", 3048): 12.3}
    assert prices.hardware == {("bolt", "M8 x 90"): 0.45, ("nut", "M8"): 0.1, ("washer", "5/16-18"): 0.05}
    assert prices.of_member("steel-38", 16, 38.1) == 8 and prices.of_member("steel-38", 15, 38.1) is None
    assert prices.of_member("softwood-38", 10, 38.1) == pytest.approx(1.6002)


def test_a_spreadsheet_with_semicolons_decimal_commas_and_a_mark_is_read(tmp_path):
    text = "\ufeff" + PRICES.replace(".", "&").replace(",", ";").replace("&", ",")
    assert load_prices(write(tmp_path, text), STOCKS) == load_prices(write(tmp_path, PRICES, "b.csv"), STOCKS)


def test_toml_says_the_same(tmp_path):
    text = (
        '[[entry]]\nitem = "metre"\nid = "softwood-38"\nprice = 4.2\ncurrency = "EUR"\n\n'
        '[[entry]]\nitem = "bolt"\nid = "M8 x 90"\nprice = "0,45"\n'
    )
    prices = load_prices(write(tmp_path, text, "list.toml"), STOCKS)
    assert prices.metre == {"softwood-38": 4.2} and prices.hardware == {("bolt", "M8 x 90"): 0.45}


def test_a_rack_is_read(tmp_path):
    rack = load_rack(write(tmp_path, RACK), STOCKS)
    assert rack.members == {("softwood-38", 16): 5}
    assert rack.sticks == (
        OwnedStick("softwood-38", 2438.4, 2),
        OwnedStick("steel-38", 1000, 1, 12.7, True, 20),
        OwnedStick("steel-38", 1000, 1, None, False),
    )
    assert rack.hardware == {("bolt", "5/16-18 x 3 1/2 in"): 20, ("nut", "5/16-18"): 20}


@pytest.mark.parametrize(
    "row, words",
    [
        ("metre,softwood38,,4.2,EUR", ["softwood-38", "is meant"]),
        ("metre,softwood-38,,4.2,EUR", ["has a price already"]),
        ("meter,hardwood-38,,4.2,EUR", ["'item' is 'meter'", "perhaps 'metre'"]),
        ("metre,hardwood-38,,cheap,EUR", ["'price' is 'cheap'", "plain number"]),
        ("metre,hardwood-38,,-3,EUR", ["'price' is '-3'"]),
        ('metre,hardwood-38,,"1,234",EUR', ["'price' is '1,234'", "plain number"]),
        ("metre,hardwood-38,,nan,EUR", ["'price' is 'nan'"]),
        ("metre,hardwood-38,,,EUR", ["'price' is empty"]),
        ("metre,hardwood-38,,4,GBP", ["one currency"]),
        ("stick,hardwood-38,long,4,EUR", ["'length'", "not a length"]),
        ("stick,hardwood-38,,4,EUR", ["'length' is empty", "8 ft"]),
        ("stick,hardwood-38,0,4,EUR", ["'length' is '0'"]),
        ("member,hardwood-38,600 mm,4,EUR", ["number of holes"]),
        ("bolt,M9x20,,4,EUR", ["'M9' is no thread"]),
        ("bolt,long,,4,EUR", ["no bolt"]),
        ("nut,,,4,EUR", ["'id' is empty"]),
        ("metre,hardwood-38,,4,20,EUR", ["6 cells", "5 columns", "quotes"]),
    ],
)
def test_nonsense_in_row_10_of_a_price_list_is_told(tmp_path, row, words):
    path = write(tmp_path, PRICES.replace("washer,5/16,,0.05,EUR", row))
    with pytest.raises(ReconError) as error:
        load_prices(path, STOCKS)
    assert all(word in str(error.value) for word in [f"{path}, row 10", *words])


@pytest.mark.parametrize(
    "row, words",
    [
        ("member,softwood-38,0,1", ["'length' is '0'", "1 to 1000"]),
        ("member,softwood-38,16,two", ["'count' is 'two'", "whole number"]),
        ("member,softwood-38,16,1.5", ["'count' is '1.5'", "whole number"]),
        ("member,softwood-38,16,1,12", ["'first_hole' is for sticks"]),
        ("stick,softwood-38,1000,1,1200", ["'first_hole' is 1200 mm", "1000 mm long"]),
        ("stick,softwood-38,1000,1,,maybe", ["'drilled' is 'maybe'", "yes, no"]),
        ("stick,softwood-38,1000,1,10,no", ["not drilled"]),
        ("stick,softwood-38,1000,1,,,500", ["leaves nothing"]),
        ("plank,softwood-38,1000,1", ["'item' is 'plank'"]),
        ("stick,oak,1000,1", ["'oak' is not in the stock list"]),
    ],
)
def test_nonsense_in_row_7_of_a_rack_is_told(tmp_path, row, words):
    path = write(tmp_path, RACK.replace("bolt,5/16 x 3-1/2,,20", row))
    with pytest.raises(ReconError) as error:
        load_rack(path, STOCKS)
    assert all(word in str(error.value) for word in [f"{path}, row 7", *words])


@pytest.mark.parametrize(
    "text, name, words",
    [
        ("", "list.csv", ["empty", "item, id, length"]),
        ("item,id,colour\n", "list.csv", ["row 1", "no column 'colour'"]),
        ("item,item\n", "list.csv", ["row 1", "two columns"]),
        ('item,id,length,price\nmetre,"softwood-38,,4\n', "list.csv", ["not CSV"]),
        ("entry = 3", "list.toml", ["[[entry]]"]),
        ("[[entry]]\nitem = ['bolt']\n", "list.toml", ["entry 1", "'item' must be a text"]),
        ("[[entry]]\nitem = 'bolt'\nname = 'M8 x 90'\n", "list.toml", ["entry 1", "no column 'name'"]),
        ("[[entry]\n", "list.toml", ["not TOML"]),
    ],
)
def test_a_list_that_is_none_is_told(tmp_path, text, name, words):
    path = write(tmp_path, text, name)
    with pytest.raises(ReconError) as error:
        load_prices(path, STOCKS)
    assert all(word in str(error.value) for word in [str(path), *words])


def test_a_missing_list_and_one_that_is_no_text_are_told(tmp_path):
    with pytest.raises(ReconError, match="no such file"):
        load_rack(tmp_path / "none.csv", STOCKS)
    path = tmp_path / "picture.csv"
    path.write_bytes(b"\x89PNG\xff\x00")
    with pytest.raises(ReconError, match="not text"):
        load_rack(path, STOCKS)


@settings(max_examples=150)
@given(
    st.integers(0, len(RACK)),
    st.integers(0, 12),
    st.text(',;"\n\t\x00-/ xM8aé', max_size=4),
    st.sampled_from([".csv", ".toml"]),
)
def test_no_change_to_a_list_brings_a_traceback(tmp_path_factory, start, length, other, suffix):
    path = write(
        tmp_path_factory.mktemp("lists"), RACK[:start] + other + RACK[start + length :], "rack" + suffix
    )
    try:
        load_rack(path, STOCKS)
    except ReconError as error:
        assert str(path) in str(error)
