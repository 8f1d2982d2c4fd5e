"""Materials: figures with sources, amounts, drying; row ids of layoutgen/work/operations.csv."""

from __future__ import annotations

import csv
import re
from importlib.resources import files
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from layoutgen.work.materials import (
    SHIPPED,
    MaterialParams,
    amounts,
    beads_text,
    drying,
    faults,
    shipped_materials,
    source_of,
)

ROWS = {
    row["id"]: row
    for row in csv.DictReader(
        files("layoutgen.work").joinpath("operations.csv").read_text(encoding="utf-8").splitlines()
    )
}


@pytest.mark.parametrize("name", list(SHIPPED))
def test_every_figure_names_a_row_or_says_what_it_is(name: str) -> None:
    for field in MaterialParams.model_fields.values():
        source = source_of(name, str(field.alias))
        named = re.findall(r"OP-\d{3}", source)
        plain = source in ("common practice", "from memory", "design")
        assert plain or (named and set(named) <= set(ROWS)), f"{name}.{field.alias}: {source}"


@pytest.mark.parametrize("name", list(SHIPPED))
def test_shipped_materials_fit_together(name: str) -> None:
    assert faults(shipped_materials()[name]) == []


@pytest.mark.parametrize("name", [n for n in SHIPPED if n != "waterborne"])
def test_other_materials_do_not_dry_or_cost_like_waterborne_paint(name: str) -> None:
    price = "white_price_per_gallon" if SHIPPED[name]["form"] in ("paint", "plural") else None
    own = {"film", "no_track", "dry", "min_air_f", "life_years", price or "price_per_lb"}
    assert own <= set(SHIPPED[name])


def test_high_build_covers_as_printed() -> None:
    """OP-009: 50 sq ft a gallon."""
    out = amounts([50.0], ["white"], shipped_materials()["high_build"])
    assert out["paint_gal"].iloc[0] == pytest.approx(1.0, rel=0.005)


def test_melt_is_weighed() -> None:
    """OP-056: 1,301 lb for 1,000 sq ft, 2,289 lb for a mile of 4 in; OP-011 primer 265-400."""
    out = amounts([1000.0, 1760.0], ["white", "yellow"], shipped_materials()["thermoplastic"])
    assert out["weight_lb"].tolist() == pytest.approx([1301.0, 2289.0], rel=0.001)
    assert out["paint_gal"].tolist() == [0.0, 0.0]
    assert 265.0 <= 1000.0 / out["primer_gal"].iloc[0] <= 400.0


def test_sheet_costs_what_a_crosswalk_cost() -> None:
    """OP-108: 450 sq ft of preformed pieces for about $2,000."""
    out = amounts([450.0], ["white"], shipped_materials()["preformed"])
    assert out["cost"].iloc[0] == pytest.approx(2000.0, rel=0.01)


def test_double_drop_is_two_equal_loads() -> None:
    """OP-044, OP-045: 31 lb on 100 sq ft, two sizes in equal weight."""
    out = amounts([100.0], ["white"], shipped_materials()["epoxy"])
    assert out["beads_lb"].iloc[0] == out["beads2_lb"].iloc[0] == pytest.approx(15.5)
    assert beads_text(shipped_materials()["epoxy"]).startswith("Type 3 15.5 lb/100 sq ft, then")


def test_ground_coats_take_no_beads_unless_set() -> None:
    material = MaterialParams()
    out = amounts([100.0, 100.0], ["green", "white"], material)
    assert out["paint_gal"].iloc[0] == out["paint_gal"].iloc[1]
    assert (out["beads_lb"] > 0.0).tolist() == [False, True]
    every = MaterialParams(colors_without_beads=[])
    assert (amounts([100.0], ["green"], every)["beads_lb"] > 0.0).all()


def test_amounts_by_hand() -> None:
    """160.417 sq ft at 10 mil is a gallon; 25 % waste; two drops; primer on concrete only."""
    material = MaterialParams(
        film="10 mil",
        beads_lb_per_gallon=8.0,
        second_beads_lb_per_100sqft=2.0,
        primer="5 mil",
        primer_on="concrete",
        waste_percent=25.0,
        yellow_price_per_gallon=10.0,
        beads_price_per_lb=1.0,
        primer_price_per_gallon=4.0,
    )
    area = 1604.1666667 / 10.0
    out = amounts([area], ["yellow"], material, "concrete").iloc[0]
    assert out["paint_gal"] == pytest.approx(1.25)
    assert out["beads_lb"] == pytest.approx(10.0)
    assert out["beads2_lb"] == pytest.approx(1.25 * area * 0.02)
    assert out["primer_gal"] == pytest.approx(0.625)
    assert out["cost"] == pytest.approx(12.5 + 10.0 + 1.25 * area * 0.02 + 2.5)
    assert amounts([area], ["yellow"], material, "asphalt")["primer_gal"].iloc[0] == 0.0


def test_amounts_of_nothing() -> None:
    out = amounts(np.empty(0), np.empty(0, dtype=object), MaterialParams())
    assert len(out) == 0
    assert out.columns.tolist()[-1] == "cost"


def test_drying_of_waterborne_at_the_printed_temperature() -> None:
    """OP-060: 2 min with beads at 77 F; OP-059: at most 10 min without."""
    assert drying(shipped_materials()["waterborne"], 77.0) == pytest.approx((2.0, 10.0))


def test_drying_is_linear_between_and_held_outside() -> None:
    table = [[50, "20 min"], [70, "10 min"]]
    material = MaterialParams(no_track=table, dry=[[50, "1 h"]])
    assert drying(material, 55.0) == pytest.approx((17.5, 60.0))
    assert drying(material, 0.0)[0] == 20.0
    assert drying(material, 120.0)[0] == 10.0


@pytest.mark.parametrize(
    "table, words",
    [
        ([], "expected points"),
        ([[50, 10]], "needs a unit"),
        ([[50, "10 mil"]], "expected a time"),
        ([[70, "5 min"], [50, "9 min"]], "must rise"),
        ([[50]], "expected a temperature in F and a time"),
        ([["50", "5 min"]], "expected a temperature"),
        ([[float("nan"), "5 min"]], "expected a temperature"),
        ([[50, "-5 min"]], "less than none"),
    ],
)
def test_wrong_drying_tables_are_told(table: Any, words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        MaterialParams(no_track=table)


@pytest.mark.parametrize(
    "own, words",
    [
        ({"beads_lb_per_100sqft": 31.0}, "both set"),
        ({"beads_lb_per_gallon": 0.0, "second_beads_lb_per_gallon": 6.0}, "without a first"),
        ({"form": "melt", "pounds_per_sqft": 0.08}, "a melt has no gallons"),
        ({"form": "sheet", "beads_lb_per_gallon": 0.0}, "times as heavy as water"),
        ({"pounds_per_sqft": 1.3}, "counted in gallons"),
        ({"primer": "5 mil"}, "both be set"),
        ({"primer_on": "all"}, "both be set"),
        ({"min_air_f": 95.0}, "no hour can be open"),
        ({"dry": [[77, "1 min"]]}, "shorter than no_track at 50 F"),
    ],
)
def test_what_does_not_fit_together_is_told(own: dict[str, Any], words: str) -> None:
    found = faults(MaterialParams(**own))
    assert len(found) == 1
    assert words in found[0]


def test_paint_without_beads_is_tracked_until_it_is_dry() -> None:
    """OP-060: no-track of 2 min is for beaded paint; OP-059: up to 10 min dry without."""
    paint = shipped_materials()["waterborne"]
    assert drying(paint, 77.0, "white") == (2.0, 10.0)
    assert drying(paint, 77.0, "green") == (10.0, 10.0)
