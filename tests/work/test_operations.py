"""The 20 external check values of the trade, one test each; ids of work/operations.csv beside them.

Each is computed by the functions that make the papers. Tolerances are those of the list of check
values: printed tables round, formulas do not.
"""

from __future__ import annotations

import csv
from importlib.resources import files

import pytest

from layoutgen.config import parse_measure
from layoutgen.work.film import film_gal
from layoutgen.work.materials import MaterialParams, amounts, shipped_materials
from layoutgen.work.traffic_control import (
    Closure,
    TrafficControlParams,
    Work,
    buffer_length_ft,
    cones_along,
    estimate,
    merging_taper_ft,
)

MILE_FT = 5280.0
#: every row that a test of this file is pinned on
PINNED = (
    5,
    7,
    11,
    *range(13, 37),
    38,
    44,
    99,
    *range(127, 138),
    140,
    *range(143, 155),
    159,
    160,
    *range(165, 168),
)
GRAMS_PER_LB = 453.59237


def gallons(mil: float, area_sqft: float) -> float:
    """Paint of an area by the tables of amounts, no waste."""
    material = MaterialParams(film=f"{mil} mil")
    return float(amounts([area_sqft], ["white"], material)["paint_gal"].iloc[0])


def mile(width_in: float, duty: float = 1.0) -> float:
    """Painted area of a mile of line, sq ft."""
    return MILE_FT * width_in / 12.0 * duty


def lane(speed_mph: float, width_ft: float = 12.0, work_ft: float = 50.0) -> Closure:
    return estimate(Work(speed_mph, width_ft, work_ft, minutes=45.0))


def test_pinned_rows_were_read_or_derived() -> None:
    text = files("layoutgen.work").joinpath("operations.csv").read_text(encoding="utf-8")
    sure = {
        row["id"]
        for row in csv.DictReader(text.splitlines())
        if row["confidence"] in ("seen", "derived")
    }
    assert {f"OP-{n:03d}" for n in PINNED} <= sure


def test_01_mile_of_4_in_at_15_mil() -> None:
    """OP-013: printed 16."""
    assert gallons(15, mile(4)) == pytest.approx(16.46, abs=0.005)
    assert gallons(15, mile(4)) == pytest.approx(16.0, rel=0.03)


def test_02_mile_of_wider_lines_at_15_mil() -> None:
    """OP-014..017: printed 24, 32, 48, 96."""
    found = [gallons(15, mile(width)) for width in (6, 8, 12, 24)]
    assert found == pytest.approx([24.7, 32.9, 49.4, 98.7], abs=0.05)
    assert found == pytest.approx([24.0, 32.0, 48.0, 96.0], rel=0.03)


def test_03_mile_of_road_with_a_broken_line() -> None:
    """OP-018: printed 4."""
    assert gallons(15, mile(4, 10 / 40)) == pytest.approx(4.11, abs=0.005)
    assert gallons(15, mile(4, 10 / 40)) == pytest.approx(4.0, rel=0.03)


def test_04_mile_of_lines_in_epoxy() -> None:
    """OP-028..032: printed 22, 33, 44, 66, 132, with the film of the epoxy that is shipped."""
    epoxy = shipped_materials()["epoxy"]
    areas = [mile(width) for width in (4, 6, 8, 12, 24)]
    found = amounts(areas, ["white"] * 5, epoxy)["paint_gal"].tolist()
    assert found == pytest.approx([22, 33, 44, 66, 132], rel=0.005)


def test_05_broken_lines_in_epoxy() -> None:
    """OP-033..035."""
    epoxy = shipped_materials()["epoxy"]
    areas = [mile(width, 10 / 40) for width in (4, 6, 8)]
    found = amounts(areas, ["white"] * 3, epoxy)["paint_gal"].tolist()
    assert found == pytest.approx([5.5, 8.25, 11.0], rel=0.005)


def test_06_area_at_15_mil() -> None:
    """OP-026: printed 0.94."""
    assert gallons(15, 100.0) == pytest.approx(0.94, rel=0.01)


def test_07_area_at_20_mil() -> None:
    """OP-036: printed 1.25."""
    assert gallons(20, 100.0) == pytest.approx(1.25, rel=0.005)


def test_08_dotted_lines() -> None:
    """OP-024: 2 ft dot, 6 ft gap, printed 4; OP-023: a third of the length, printed 5 1/3."""
    assert gallons(15, mile(4, 2 / 8)) == pytest.approx(4.0, rel=0.03)
    assert gallons(15, mile(4, 1 / 3)) == pytest.approx(16 / 3, rel=0.03)


def test_09_feet_of_line_from_a_gallon() -> None:
    """OP-005: 320 LF of 4 in at 15 mil."""
    assert gallons(15, 320.0 * 4 / 12) == pytest.approx(1.0, rel=0.01)


def test_10_rate_of_reflective_paint() -> None:
    """OP-007: 105 sq ft a gallon is 15.3 mil, and 2.577 sq m a liter."""
    assert gallons(15.3, 105.0) == pytest.approx(1.0, rel=0.01)
    sqm_ft, liter_gal = parse_measure("1 m") ** 2, parse_measure("1 L", "volume")
    assert gallons(15.3, 2.577 * sqm_ft) == pytest.approx(liter_gal, rel=0.01)


@pytest.mark.parametrize("rate, grams_per_liter", [(6.0, 719.0), (10.0, 1198.0)])
def test_11_beads_in_grams_a_liter(rate: float, grams_per_liter: float) -> None:
    """OP-038."""
    out = amounts([500.0], ["white"], MaterialParams(beads_lb_per_gallon=rate)).iloc[0]
    liters = out["paint_gal"] / parse_measure("1 L", "volume")
    assert out["beads_lb"] * GRAMS_PER_LB / liters == pytest.approx(grams_per_liter, rel=0.001)


def test_12_double_drop_on_epoxy() -> None:
    """OP-044: 31 lb on 100 sq ft at 20 mil is 24.9 lb a gallon."""
    out = amounts([100.0], ["white"], shipped_materials()["epoxy"]).iloc[0]
    both_lb = out["beads_lb"] + out["beads2_lb"]
    assert both_lb == pytest.approx(31.0)
    assert both_lb / out["paint_gal"] == pytest.approx(24.9, rel=0.01)


@pytest.mark.parametrize("mil, covered", [(4, 401.0), (6, 267.0)])
def test_13_primer(mil: int, covered: float) -> None:
    """OP-011: printed 265 to 400 sq ft a gallon."""
    primed = MaterialParams(primer=f"{mil} mil", primer_on="asphalt")
    out = amounts([covered], ["white"], primed, "asphalt")
    assert out["primer_gal"].iloc[0] == pytest.approx(1.0, rel=0.01)


def test_14_liters_a_kilometer() -> None:
    """OP-027: 37 L on a kilometer of 100 mm is a film of 0.37 mm; 222 L for 600 mm."""
    film_mil = 0.37 / 0.0254
    for width_mm, liters in ((100, 37.0), (600, 222.0)):
        area = parse_measure("1 km") * parse_measure(f"{width_mm} mm")
        found = float(film_gal(area, film_mil)) / parse_measure("1 L", "volume")
        assert found == pytest.approx(liters, rel=1e-9)


@pytest.mark.parametrize("mph, feet", [(20, 80), (25, 125), (30, 180), (35, 245), (40, 320)])
def test_15_taper_to_40_mph(mph: int, feet: int) -> None:
    """OP-127..131."""
    assert lane(mph).taper_ft == feet


@pytest.mark.parametrize(
    "mph, feet", [(45, 540), (50, 600), (55, 660), (60, 720), (65, 780), (70, 840)]
)
def test_16_taper_from_45_mph(mph: int, feet: int) -> None:
    """OP-132..137."""
    assert lane(mph).taper_ft == feet


@pytest.mark.parametrize(
    "mph, feet", [(20, 115), (30, 200), (40, 305), (50, 425), (60, 570), (70, 730)]
)
def test_17_buffer(mph: int, feet: int) -> None:
    """OP-143..153."""
    assert lane(mph).buffer_ft == feet


def test_18_cones_of_a_merging_taper() -> None:
    """OP-165: 25 mph, 12 ft: 125 / 25 + 1 = 6."""
    closure = lane(25)
    assert 1 + cones_along(closure.taper_ft, closure.taper_spacing_ft) == 6


def test_19_devices_of_a_shoulder() -> None:
    """OP-166: 55 mph, 12 ft: taper of 220 ft with 5 devices, 10 more on 1,000 ft."""
    closure = estimate(Work(55, 12.0, 1000.0, minutes=45.0, taper="shoulder"))
    assert closure.taper_ft == pytest.approx(220.0)
    assert 1 + cones_along(closure.taper_ft, closure.taper_spacing_ft) == 5
    assert cones_along(1000.0, closure.tangent_spacing_ft) == 10
    # OP-140: at least 0.33 L
    assert closure.taper_ft >= 0.33 * merging_taper_ft(55, 12.0)


def test_20_yearly_repaint_of_a_town() -> None:
    """OP-099: 94,000 and 59,500 LF of 4 in, 56,500 LF of 8 in: 831 gal, 266,500 LF of 4 in.

    The price of the row, $0.086 a foot, is one printed number over another; nothing of ours.
    """
    lengths, widths = (94_000.0, 59_500.0, 56_500.0), (4, 4, 8)
    areas = [feet * width / 12.0 for feet, width in zip(lengths, widths, strict=True)]
    out = amounts(areas, ["yellow", "white", "white"], MaterialParams())
    assert out["paint_gal"].sum() == pytest.approx(831.0, rel=0.01)
    same_as_4_in = out["paint_gal"].sum() / gallons(15, 4 / 12)
    assert same_as_4_in == pytest.approx(266_500.0, rel=0.01)


def test_cones_of_a_whole_lane_closure() -> None:
    """OP-167: 30 mph, 11 ft, 50 ft of work: taper 165 ft 7, buffer 4, work 1, downstream 3 = 15."""
    closure = lane(30, 11.0)
    assert closure.taper_ft == 165.0
    assert closure.cones == 15
    assert lane(30, 12.0).taper_ft / closure.taper_ft == pytest.approx(12 / 11)


def test_all_printed_buffers() -> None:
    """OP-143..154, every speed of the table."""
    text = files("layoutgen.work").joinpath("operations.csv").read_text(encoding="utf-8")
    rows = [r for r in csv.DictReader(text.splitlines()) if "Longitudinal buffer" in r["item"]]
    printed = {int(r["item"].split(",")[1].split()[0]): float(r["value"]) for r in rows}
    assert len(printed) == 12
    assert {mph: buffer_length_ft(mph) for mph in printed} == printed


def test_cone_spacing_is_the_printed_limit() -> None:
    """OP-159, OP-160: a foot for a mile per hour in the taper, two on the tangent."""
    params = TrafficControlParams()
    assert (params.taper_spacing_per_mph, params.tangent_spacing_per_mph) == (1.0, 2.0)
