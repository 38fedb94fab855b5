"""The workbook, read back with another program's library: formulas add up to what the shopping list says."""

import io
import re

import openpyxl
import pytest

from recon.frame.stock import load_stocks
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.prices import PriceList
from recon.workshop.parts.shopping import shopping_for
from recon.workshop.parts.workbook import parts_workbook
from tests.workshop.frames import gate

STOCKS = load_stocks()
PRICES = PriceList(
    "EUR",
    {},
    {("softwood-38", 2438.4): 9.0},
    {},
    {("bolt", "5/16-18 x 3 1/2 in"): 0.4, ("nut", "5/16-18"): 0.1, ("washer", "5/16-18"): 0.01},
    {("bolt", "5/16-18 x 3 1/2 in"): 8, ("washer", "5/16-18"): 100},
)


def value(sheet, name):
    """A cell's value, its formula worked out: products, differences, ROUNDUP and SUM."""
    cell = sheet[name].value
    if not (isinstance(cell, str) and cell.startswith("=")):
        return cell or 0
    if found := re.fullmatch(r"=SUM\((\w)(\d+):\w(\d+)\)", cell):
        return sum(value(sheet, f"{found[1]}{n}") for n in range(int(found[2]), int(found[3]) + 1))
    text = cell[1:].replace("ROUNDUP(", "up(")
    text = re.sub(r"\b([A-Z])(\d+)\b", lambda m: str(value(sheet, m[0])), text)
    return eval(text, {"up": lambda x, digits: -int(-x // 1)})


def test_formulas_add_up_to_what_the_shopping_list_says():
    parts = parts_list(gate(), STOCKS, PRICES)
    shopping = shopping_for(gate(), STOCKS, parts, PRICES)
    book = openpyxl.load_workbook(io.BytesIO(parts_workbook(parts, shopping)))
    sheet = book["To buy"]
    last = len(shopping.lines) + 2
    assert sheet[f"A{last}"].value == "To pay"
    assert value(sheet, f"F{last}") == pytest.approx(shopping.total) == pytest.approx(9 + 3.2 + 0.5 + 1.0)
    assert value(sheet, "D3") == 1 and sheet["D3"].value == "=ROUNDUP(B3/C3,0)"
    sheet["E2"] = 12.0  # a price is typed in
    assert value(sheet, f"F{last}") == pytest.approx(shopping.total + 3)
    weights = book["Parts"]
    assert value(weights, f"I{len(parts.lines) + 2}") == pytest.approx(parts.mass_kg)


def test_text_that_begins_like_a_formula_stays_text():
    frame = gate(stock="=1+1")
    parts = parts_list(frame, {})
    data = parts_workbook(parts, shopping_for(frame, {}, parts))
    cell = openpyxl.load_workbook(io.BytesIO(data))["Parts"]["A2"]
    assert cell.value == "=1+1" and cell.data_type != "f"
