"""Quantities against the printed tables of the trade; row ids of layoutgen/work/operations.csv."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from work.hand_markings import measured, sections_of

import layoutgen.work
from layoutgen.config import Params
from layoutgen.gis.schema import layer
from layoutgen.tours.tour import TourParams, TruckParams
from layoutgen.tours.travel import TravelParams
from layoutgen.work.film import SQFT_PER_GAL_AT_1_MIL, film_gal
from layoutgen.work.jobs import JobParams
from layoutgen.work.loads import LoadParams
from layoutgen.work.materials import MaterialParams
from layoutgen.work.quantities import PaintParams, choose_material, idle_paint_cases, summarise
from layoutgen.work.reach import ReachParams
from layoutgen.work.time import CrewParams
from layoutgen.work.traffic_control import TrafficControlParams

MILE_FT = 5280.0
ROWS = {
    row["id"]: row
    for row in csv.DictReader(
        (Path(layoutgen.work.__file__).parent / "operations.csv")
        .read_text(encoding="utf-8")
        .splitlines()
    )
}


def _mile_area(width_in: float, duty: float = 1.0) -> float:
    return MILE_FT * width_in / 12.0 * duty


# printed value, tolerance, row, width of the line in, painted share of the length, film mil
GALLONS_PER_MILE = [
    (16.0, 0.03, "OP-013", 4, 1.0, 15),
    (24.0, 0.03, "OP-014", 6, 1.0, 15),
    (32.0, 0.03, "OP-015", 8, 1.0, 15),
    (48.0, 0.03, "OP-016", 12, 1.0, 15),
    (96.0, 0.03, "OP-017", 24, 1.0, 15),
    (4.0, 0.03, "OP-018", 4, 10 / 40, 15),
    (22.0, 0.005, "OP-028", 4, 1.0, 20),
    (33.0, 0.005, "OP-029", 6, 1.0, 20),
    (44.0, 0.005, "OP-030", 8, 1.0, 20),
    (66.0, 0.005, "OP-031", 12, 1.0, 20),
    (132.0, 0.005, "OP-032", 24, 1.0, 20),
    (5.5, 0.005, "OP-033", 4, 10 / 40, 20),
    (8.25, 0.005, "OP-034", 6, 10 / 40, 20),
    (11.0, 0.005, "OP-035", 8, 10 / 40, 20),
    (4.0, 0.03, "OP-024", 4, 2 / 8, 15),
    (16 / 3, 0.03, "OP-023", 4, 1 / 3, 15),
]


@pytest.mark.parametrize(
    "printed, tolerance, row, width_in, duty, mil", GALLONS_PER_MILE, ids=lambda v: str(v)
)
def test_gallons_per_mile_of_the_printed_tables(
    printed: float, tolerance: float, row: str, width_in: float, duty: float, mil: float
) -> None:
    assert ROWS[row]["confidence"] in ("seen", "derived")
    rows = [{"marking_id": "a", "area_sqft": _mile_area(width_in, duty)}]
    materials = {"waterborne": MaterialParams(film=f"{mil} mil")}
    gallons = sections_of(rows, materials=materials)["paint_gal"].iloc[0]
    assert gallons == pytest.approx(printed, rel=tolerance)


def test_exact_gallons_per_mile() -> None:
    """Section A items 1, 2, 3, exact to the printed digits (OP-013, OP-014, OP-018)."""
    exact = film_gal([_mile_area(w) for w in (4, 6, 8, 12, 24)], 15.0)
    assert [round(float(g), 2) for g in exact] == [16.46, 24.69, 32.91, 49.37, 98.74]
    assert film_gal(_mile_area(4, 0.25), 15.0) == pytest.approx(4.11, abs=0.005)


def test_area_rates() -> None:
    """OP-026: 0.94 gal/100 sq ft at 15 mil; OP-036: 1.25 at 20 mil; OP-102: 120 sq ft is 1.12."""
    assert film_gal(100.0, 15.0) == pytest.approx(0.94, rel=0.01)
    assert film_gal(100.0, 20.0) == pytest.approx(1.25, rel=0.005)
    assert film_gal(120.0, 15.0) == pytest.approx(1.12, abs=0.005)


def test_coverage() -> None:
    """OP-001 coverage at 1 mil; OP-005 about 320 LF of 4 in; OP-007 105 sq ft/gal = 15.3 mil."""
    assert pytest.approx(1604.17, abs=0.005) == SQFT_PER_GAL_AT_1_MIL
    length_ft = SQFT_PER_GAL_AT_1_MIL / 15.0 * 12.0 / 4.0
    assert length_ft == pytest.approx(320.0, rel=0.01)
    film_mil = SQFT_PER_GAL_AT_1_MIL / 105.0
    assert film_mil == pytest.approx(15.3, rel=0.01)
    sqm_per_liter = 105.0 * 0.3048**2 / 3.785411784
    assert sqm_per_liter == pytest.approx(2.577, rel=0.01)
    for mil, printed in ((4.0, 401.0), (6.0, 267.0)):  # OP-011, primer
        assert SQFT_PER_GAL_AT_1_MIL / mil == pytest.approx(printed, rel=0.01)


def test_beads() -> None:
    """OP-042: 98.7 lb on a mile of 4 in at 15 mil and 6 lb/gal; OP-043: 5.61 lb on 100 sq ft."""
    rows = [
        {"marking_id": "a", "area_sqft": _mile_area(4)},
        {"marking_id": "b", "area_sqft": 100.0},
        {"marking_id": "c", "area_sqft": 100.0, "color": "green"},
    ]
    out = sections_of(rows)
    assert out["beads_lb"].tolist() == pytest.approx([98.7, 5.61, 0.0], abs=0.05)
    # OP-038: 6 lb/gal is 719 g/L
    grams_per_liter = 6.0 * 453.59237 / 3.785411784
    assert grams_per_liter == pytest.approx(719.0, rel=0.001)


def test_cost_counts_paint_and_beads_by_color() -> None:
    settings = MaterialParams(
        white_price_per_gallon=10.0,
        green_price_per_gallon=50.0,
        other_price_per_gallon=7.0,
        beads_price_per_lb=2.0,
        waste_percent=10.0,
        colors_without_beads=["green"],
    )
    sqft = SQFT_PER_GAL_AT_1_MIL / 15.0  # one gallon of film
    rows = [{"marking_id": c, "color": c, "area_sqft": sqft} for c in ("white", "green", "blue")]
    out = sections_of(rows, materials={"waterborne": settings})
    assert out["paint_gal"].tolist() == pytest.approx([1.1, 1.1, 1.1])
    assert out["cost"].tolist() == pytest.approx([1.1 * (10 + 12), 1.1 * 50, 1.1 * (7 + 12)])


def test_melt_is_weighed_and_kept_markings_take_nothing() -> None:
    rows = [
        {"marking_id": "a", "action": "keep"},
        {"marking_id": "b", "material": "thermoplastic", "area_sqft": 100.0},
    ]
    out = measured(rows).set_index("marking_id")
    assert out.loc["a", ["paint_gal", "weight_lb", "minutes"]].tolist() == [0.0, 0.0, 0.0]
    assert out.loc["b", "paint_gal"] == 0.0
    assert out.loc["b", "weight_lb"] > 50.0


def test_material_is_that_of_the_first_case_that_matches() -> None:
    params = PaintParams(
        material="waterborne",
        cases=[
            {"where": {"kind": "word", "color": "white"}, "material": "preformed"},
            {"where": {"kind": ["word", "arrow"]}, "material": "mma"},
        ],
    )
    rows = [
        {"marking_id": "a", "kind": "word", "color": "white"},
        {"marking_id": "b", "kind": "word", "color": "yellow"},
        {"marking_id": "c", "kind": "stop_line"},
    ]
    out = choose_material(measured(rows), params)
    assert out["material"].tolist() == ["preformed", "mma", "waterborne"]
    assert idle_paint_cases(measured(rows), params) == []
    (told,) = idle_paint_cases(measured(rows[2:] + rows[1:2]), params)
    assert (told.code, told.feature_id) == ("paint_case_matches_nothing", "paint.cases[0]")


def test_summary_is_sorted_complete_and_independent_of_row_order() -> None:
    rows = [
        {
            "marking_id": f"m{i}",
            "kind": kind,
            "color": color,
            "area_sqft": 0.1 * i,
            "street": street,
        }
        for i, (street, kind, color) in enumerate(
            (s, k, c)
            for s in ("Birch Street", "Alder Street", "")
            for k in ("word", "arrow")
            for c in ("yellow", "white", "white")
        )
    ]
    out = measured(rows)
    sums = summarise(out)
    assert list(sums.columns) == [c.name for c in layer("quantities").columns]
    assert len(sums) == 12
    keys = sums[["street", "item", "kind", "color", "material"]].apply(tuple, axis=1).tolist()
    assert keys == sorted(keys)
    for column, source in (("area_sqft", "painted_sqft"), ("length_lf", "length_ft")):
        assert sums[column].sum() == pytest.approx(out[source].sum(), abs=1e-3)
    assert sums["count"].sum() == len(rows)
    shuffled = summarise(out.sample(frac=1.0, random_state=3))
    assert shuffled.to_csv() == sums.to_csv()


def test_summary_of_nothing() -> None:
    assert len(summarise(measured([]))) == 0


@pytest.mark.parametrize(
    "model",
    [
        *(PaintParams, MaterialParams, ReachParams, CrewParams, JobParams, LoadParams),
        *(TrafficControlParams, TravelParams, TruckParams, TourParams),
    ],
)
def test_every_default_names_its_source(model: type[Params]) -> None:
    for name, field in model.model_fields.items():
        extra = field.json_schema_extra
        assert isinstance(extra, dict), name
        source = str(extra["source"])
        plain = source in ("common practice", "from memory", "design")
        named = source.split("; ")
        assert plain or all(one in ROWS for one in named), f"{name}: {source}"
        assert all(ROWS.get(one, {}).get("confidence") != "memory" for one in named), name


def test_default_film_gives_the_printed_coverage() -> None:
    """OP-005: 320 LF of 4 in line to the gallon is the film of the default."""
    gallons = film_gal(320.0 * 4.0 / 12.0, MaterialParams().film_mil)
    assert gallons == pytest.approx(1.0, rel=0.01)
