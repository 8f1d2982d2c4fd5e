"""Closures: what must grow, what must not be loaded, and the classes of duration."""

from __future__ import annotations

import csv
import re
from importlib.resources import files
from typing import Any

import pytest

from layoutgen.work.traffic_control import (
    BUFFER_FT,
    TrafficControlParams,
    Work,
    buffer_length_ft,
    estimate,
    merging_taper_ft,
)

LANE: dict[str, Any] = {"speed_mph": 30.0, "closed_ft": 11.0, "work_ft": 50.0, "minutes": 45.0}


def work(**own: Any) -> Work:
    return Work(**(LANE | own))


def test_every_setting_names_a_row_or_says_what_it_is() -> None:
    text = files("layoutgen.work").joinpath("operations.csv").read_text(encoding="utf-8")
    rows = {row["id"] for row in csv.DictReader(text.splitlines())}
    for name, field in TrafficControlParams.model_fields.items():
        assert isinstance(field.json_schema_extra, dict)
        source = str(field.json_schema_extra["source"])
        named = set(re.findall(r"OP-\d{3}", source))
        assert source in ("design", "from memory") or (named and named <= rows), name


def test_a_moving_job_takes_signs_and_no_cones() -> None:
    closure = estimate(work(moving=True, minutes=300.0))
    assert (closure.cones, closure.cone_in, closure.taper_ft) == (0, 0, 0.0)
    assert (closure.signs, closure.arrow_board, closure.duration) == (2, 1, "mobile")
    without = TrafficControlParams(moving_arrow_board=False)
    assert estimate(work(moving=True), without).arrow_board == 0


def test_nothing_is_closed_where_no_width_is_taken() -> None:
    closure = estimate(work(closed_ft=0.0))
    assert (closure.cones, closure.signs, closure.arrow_board, closure.buffer_ft) == (0, 0, 0, 0.0)


@pytest.mark.parametrize(
    "minutes, night, wanted",
    [
        (15.0, False, "mobile"),  # OP-171
        (15.1, False, "short duration"),
        (60.0, True, "short duration"),  # OP-168
        (60.1, False, "short-term"),  # OP-169
        (60.1, True, "intermediate-term"),  # OP-170
        (720.0, False, "short-term"),  # OP-172
        (720.1, False, "intermediate-term"),
    ],
)
def test_classes_of_duration(minutes: float, night: bool, wanted: str) -> None:
    assert estimate(work(minutes=minutes, night=night)).duration == wanted


def test_cones_are_tall_at_night_and_at_high_speed() -> None:
    """OP-162 18 in, OP-163 28 in."""
    assert estimate(work()).cone_in == 18
    assert estimate(work(night=True)).cone_in == 28
    assert estimate(work(speed_mph=45.0)).cone_in == 28


def test_speeds_between_the_printed_ones_are_on_the_safe_side() -> None:
    """OP-139: 41 to 44 mph are not stated; the buffer is that of the next higher speed."""
    assert merging_taper_ft(42.0, 12.0) == 12.0 * 42.0
    assert buffer_length_ft(26.0) == BUFFER_FT[30]
    assert buffer_length_ft(10.0) == BUFFER_FT[20]
    lengths = [merging_taper_ft(s, 12.0) for s in range(10, 76)]
    assert lengths == sorted(lengths)


def test_kinds_of_taper() -> None:
    """OP-140: half for a shift; OP-141, OP-142: 50 ft and 20 ft spacing where a lane is shared."""
    assert estimate(work(taper="shifting")).taper_ft == estimate(work()).taper_ft / 2.0
    shared = estimate(work(taper="one_lane"))
    assert (shared.taper_ft, shared.taper_spacing_ft) == (50.0, 20.0)
    # 1 + taper 3 + buffer 4 + work 1 + downstream 3
    assert shared.cones == 12
    assert shared.signs == 2 * estimate(work()).signs


def test_new_york_spaces_cones_closer_along_the_work() -> None:
    """OP-161: 40 ft; 200 ft of work at 30 mph take 5 instead of 4."""
    near = TrafficControlParams(work_spacing="40 ft")
    here = estimate(work(work_ft=200.0))
    assert estimate(work(work_ft=200.0), near).cones - here.cones == 1


def test_signs_by_road_and_duration() -> None:
    """OP-155 to OP-157 distances; OP-174: no end sign up to an hour."""
    assert [
        (c.signs, c.sign_spacing_ft, c.arrow_board)
        for c in (
            estimate(work()),
            estimate(work(minutes=90.0)),
            estimate(work(speed_mph=50.0)),
            estimate(work(speed_mph=50.0, is_rural=True, minutes=90.0)),
        )
    ] == [(2, 100.0, 0), (3, 100.0, 0), (3, 350.0, 1), (4, 500.0, 1)]


def test_spare_cones_are_added_once() -> None:
    assert estimate(work(), TrafficControlParams(spare_cones=3)).cones == 15 + 3
    assert estimate(work(moving=True), TrafficControlParams(spare_cones=3)).cones == 0


@pytest.mark.parametrize(
    "own", [{"speed_mph": 0.0}, {"speed_mph": float("nan")}, {"closed_ft": -1.0}, {"minutes": -1.0}]
)
def test_impossible_work_is_refused(own: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(own))):
        estimate(work(**own))
