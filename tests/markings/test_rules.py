"""Rules against hand calculation: distances on skewed legs, bars, symbols, who gets what."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scenes import SCENES, Scene, layout_of

from layoutgen.markings import crosswalk_bars
from layoutgen.markings.lanes import arrow_name, turns
from layoutgen.markings.rules import bike_lane, crosswalk
from layoutgen.street.design import Strip


def skewed(angle_deg: float, own_ft: float, other_ft: float, **more: Any) -> Scene:
    """A street through the origin, heading 20 degrees, and one across it at an angle."""
    rows = []
    for name, heading, width in (("own", 20.0, own_ft), ("other", 20.0 + angle_deg, other_ft)):
        t = math.radians(heading)
        for k, way in enumerate((1, -1)):
            end = (way * 400 * math.sin(t), way * 400 * math.cos(t))
            line = shapely.LineString([(0, 0), end][:: 1 if k else -1])
            row = {"segment_id": f"{name}{k}", "name": name, "width_ft": width, "at": line}
            rows.append({**row, "street_class": "collector"})
    signal = {"control": "signal", "at": "POINT (3 4)"}
    return Scene(rows, [signal], settings=more)


def from_axis(shape: Any, heading_deg: float) -> np.ndarray[Any, Any]:
    """Distance of every corner from a line through the origin."""
    t = math.radians(heading_deg)
    return np.abs(shapely.get_coordinates(shape) @ [math.cos(t), -math.sin(t)])


@settings(max_examples=40, deadline=None)
@given(
    angle=st.floats(52, 128),
    own=st.floats(22, 60),
    other=st.floats(22, 60),
    setback=st.floats(0, 6),
    depth=st.floats(6, 14),
    gap=st.floats(4, 9),
    width=st.sampled_from(["12 in", "24 in"]),
)
def test_distances_are_measured_at_right_angles_to_the_crossing_street(
    angle: float, own: float, other: float, setback: float, depth: float, gap: float, width: str
) -> None:
    """Half the crossing street + setback + crosswalk + gap + stop line, from its axis.

    On skews up to 38 degrees all of it is parallel to the crossing street. (A curb line never
    begins behind the node, which a narrow street across a wide one would ask for.)
    """
    assume(min(own, other) > abs(math.cos(math.radians(angle))) * max(own, other))
    rules = {
        "crosswalk": {"setback": f"{setback:.3f} ft", "width": f"{depth:.3f} ft"},
        "stop_line": {"crosswalk_gap": f"{gap:.3f} ft", "width": width},
    }
    markings, design, _ = layout_of(skewed(angle, own, other, rules=rules))
    legs = {leg.leg_id: leg for leg in design.legs()}
    seen = 0
    for row in markings.to_dict("records"):
        if row["kind"] not in ("stop_line", "crosswalk"):
            continue
        is_own = legs[row["anchor"]].segment.name == "own"
        across = from_axis(row["geometry"], 20.0 + angle if is_own else 20.0)
        half = (other if is_own else own) / 2
        near = half + setback
        if row["kind"] == "stop_line":
            near += depth + gap
        far = near + (depth if row["kind"] == "crosswalk" else float(width[:2]) / 12)
        assert (across.min(), across.max()) == pytest.approx((near, far), abs=0.005)
        seen += 1
    assert seen == 8


@settings(max_examples=25, deadline=None)
@given(angle=st.floats(52, 128), own=st.floats(22, 60), other=st.floats(22, 60))
def test_line_ends_keep_off_the_stop_line_and_the_crosswalk(
    angle: float, own: float, other: float
) -> None:
    """The center line ends at the stop line's far edge or before it, never under it."""
    markings, _, _ = layout_of(skewed(angle, own, other))
    lines = shapely.union_all(markings.geometry[markings["kind"] == "center_line"])
    bars = markings[markings["kind"].isin(["stop_line", "crosswalk"])]
    assert lines.intersection(shapely.union_all(bars.geometry)).area < 1e-6
    stops = markings.geometry[markings["kind"] == "stop_line"]
    assert all(lines.distance(stop) < 6.0 for stop in stops)


# ---- crosswalk bars -------------------------------------------------------------------------

KINDS = st.sampled_from(["parking", "bike_lane", "shoulder", None])


@st.composite
def strips(draw: Any) -> tuple[Strip, ...]:
    """One to six lanes, a center lane perhaps, and something at either curb perhaps."""
    lanes = draw(st.integers(1, 6))
    width = draw(st.floats(9.0, 14.0))
    parts = [("travel_lane", width)] * lanes
    if draw(st.booleans()):
        parts.insert(lanes // 2, ("center_turn_lane", draw(st.floats(9.0, 14.0))))
    for end, kind in ((0, draw(KINDS)), (len(parts), draw(KINDS))):
        if kind:
            parts.insert(end if end == 0 else len(parts), (kind, draw(st.floats(4.0, 10.0))))
    total = sum(w for _, w in parts)
    at, out = draw(st.floats(-10.0, 10.0)) - total / 2, []
    for kind, w in parts:
        out.append(Strip(kind, 0, at, at + w))
        at += w
    return tuple(out)


#: element, least and largest gap: bars of 24 and 12 in, pairs of 8 and 12 in
ELEMENTS = st.sampled_from([(2.0, 1.0, 5.0), (1.0, 1.0, 2.5), (2.0, 2.0, 5.0), (3.0, 2.0, 5.0)])


@settings(max_examples=300, deadline=None)
@given(strips(), ELEMENTS)
def test_bars_keep_their_gaps_on_any_street(
    found: tuple[Strip, ...], sizes: tuple[float, float, float]
) -> None:
    """XWALK-07 three at least; XWALK-12, 13, 20 gaps; all inside the curbs."""
    element, low, high = sizes
    left, right = found[0].left_ft, found[-1].right_ft
    assume(right - left >= 3 * (element + low))
    centers = crosswalk_bars.bar_centers(found, element, low, high)
    gaps = [b - a - element for a, b in pairwise(centers)]
    assert len(centers) >= 3
    assert min(gaps) >= low - 1e-6
    assert max(gaps) <= high + 1e-6
    assert left - 1e-6 <= centers[0] - element / 2
    assert centers[-1] + element / 2 <= right + 1e-6


@settings(max_examples=150, deadline=None)
@given(strips(), ELEMENTS)
def test_bars_of_a_mirrored_street_are_mirrored(
    found: tuple[Strip, ...], sizes: tuple[float, float, float]
) -> None:
    other = tuple(s.reversed() for s in reversed(found))
    one = crosswalk_bars.bar_centers(found, *sizes)
    two = crosswalk_bars.bar_centers(other, *sizes)
    assert one == pytest.approx([-c for c in reversed(two)], abs=1e-9)


@pytest.mark.parametrize(
    ("widths", "wanted"),
    [
        # four lanes of 12 ft: lane lines and lane centers, 6 ft apart, gaps of 4 ft; the pavement
        # beyond 18 ft would stay bare for 5 ft, so a bar stands half a foot from either curb
        ((12, 12, 12, 12), [-22.5, -18, -12, -6, 0, 6, 12, 18, 22.5]),
        ((10, 10), [-8.5, -5, 0, 5, 8.5]),
        # odd lanes: centers -11, 0, 11, lane lines -5.5, 5.5; 5.5 ft apart
        ((11, 11, 11), [-15, -11, -5.5, 0, 5.5, 11, 15]),
    ],
)
def test_bars_stand_where_wheels_miss_them(widths: Any, wanted: list[float]) -> None:
    """XWALK-09, by hand: on lane lines and in lane centers, and beside the curbs."""
    at, found = -sum(widths) / 2, []
    for width in widths:
        found.append(Strip("travel_lane", 1, at, at + width))
        at += width
    assert crosswalk_bars.bar_centers(found, 2.0, 1.0, 5.0) == pytest.approx(wanted)


@settings(max_examples=200, deadline=None)
@given(strips(), ELEMENTS)
def test_no_pair_at_the_curb_reads_as_a_double_bar(
    found: tuple[Strip, ...], sizes: tuple[float, float, float]
) -> None:
    """XWALK-10: its gap is half of the next or more, but where the curb would stay bare."""
    element, _, high = sizes
    centers = crosswalk_bars.bar_centers(found, *sizes)
    gaps = [b - a - element for a, b in pairwise(centers)]
    left, right = found[0].left_ft, found[-1].right_ft
    at_curb = {
        0: (centers[0] - left, centers[1] - element / 2 - left),
        len(gaps) - 1: (right - centers[-1], right - centers[-2] - element / 2),
    }
    own = {k: bare for k, (away, bare) in at_curb.items() if away < element / 2 + 0.5 + 1e-6}
    usual = [gap for k, gap in enumerate(gaps) if k not in own]
    assume(usual)
    assert all(gaps[k] >= min(usual) / 2 - 1e-6 or bare > high for k, bare in own.items())


def test_bike_lanes_at_the_curbs_need_no_bar_of_their_own() -> None:
    """By hand: lanes of 12 ft with bars 6 ft apart, and 4 ft to the curbs, as wide as every gap."""
    widths = (("bike_lane", 5), ("travel_lane", 12), ("travel_lane", 12), ("bike_lane", 5))
    at, found = -17.0, []
    for kind, width in widths:
        found.append(Strip(kind, 1, at, at + width))
        at += width
    assert crosswalk_bars.bar_centers(found, 2.0, 1.0, 5.0) == pytest.approx([-12, -6, 0, 6, 12])


# ---- crosswalks: where ----------------------------------------------------------------------

LEG = {
    "roundabout": False,
    "circular": False,
    "existing": False,
    "intersection_control": "none",
    "control": "none",
    "school": False,
}


@pytest.mark.parametrize(
    ("at", "leg", "wanted"),
    [
        (["signal"], {"intersection_control": "signal"}, True),
        (["signal"], {"intersection_control": "all_way_stop"}, False),
        (["all_way_stop"], {"intersection_control": "all_way_stop", "control": "stop"}, True),
        (["stop"], {"intersection_control": "two_way_stop", "control": "stop"}, True),
        (["stop"], {"intersection_control": "two_way_stop", "control": "none"}, False),
        (["yield"], {"control": "yield"}, True),
        (["school"], {"school": True}, True),
        (["school"], {"school": False}, False),
        (["every_leg"], {}, True),
        (["every_leg"], {"roundabout": True}, False),
        (["roundabout"], {"circular": True}, True),
        (["existing"], {"existing": True}, True),
        (["signal"], {"existing": True}, False),
        (["signal"], {"circular": True}, False),
        (["signal"], {"intersection_control": "signal", "roundabout": True}, False),
        ([], {"intersection_control": "signal", "school": True, "control": "stop"}, False),
    ],
)
def test_legs_that_get_a_crosswalk(at: list[str], leg: dict[str, Any], wanted: bool) -> None:
    params = crosswalk.Params.model_validate({"at": at})
    assert crosswalk.wanted(params, {**LEG, **leg}) is wanted
    assert bool(crosswalk.needs(params, {**LEG, **leg})) is wanted


def test_the_reason_names_what_asked_for_it() -> None:
    reasons = {}
    for at, scene in (("signal", "cross"), ("all_way_stop", "one_way"), ("stop", "tee"),
                      ("every_leg", "tee"), ("school", "school")):  # fmt: skip
        markings, _, _ = layout_of(SCENES[scene](rules={"crosswalk": {"at": [at]}}))
        (reasons[at],) = set(markings["reason"][markings["kind"] == "crosswalk"])
    assert reasons["signal"].startswith("the intersection is controlled by signal; 2 ft behind")
    assert reasons["all_way_stop"].startswith("the intersection is controlled by all_way_stop")
    assert reasons["stop"].startswith("the approach is controlled by stop")
    assert reasons["every_leg"].startswith("every leg is asked for")
    assert reasons["school"].startswith("the intersection lies in a school zone")


# ---- lanes ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("movements", "turn", "arrow"),
    [
        (("through",), "", "arrow_through"),
        (("left",), "must", "arrow_left"),
        (("right",), "must", "arrow_right"),
        (("left", "right"), "must", "arrow_left_right"),
        (("left", "through"), "may", "arrow_through_left"),
        (("through", "right"), "may", "arrow_through_right"),
        (("left", "through", "right"), "may", "arrow_through_left_right"),
        (("",), "", None),
        ((), "", None),
        (("merge",), "", None),
    ],
)
def test_what_a_lane_is_for(movements: tuple[str, ...], turn: str, arrow: str | None) -> None:
    assert turns(movements) == turn
    assert arrow_name(movements) == arrow


# ---- bike lane ------------------------------------------------------------------------------


@settings(max_examples=200, deadline=None)
@given(
    length=st.floats(10, 3000),
    spacing=st.floats(50, 600),
    first=st.floats(0, 100),
    last=st.floats(0, 120),
    fresh=st.booleans(),
    arrow=st.booleans(),
)
def test_symbols_are_spread_evenly(
    length: float, spacing: float, first: float, last: float, fresh: bool, arrow: bool
) -> None:
    """BIKE-02 at the beginning; none farther apart than asked; the last keeps off the end."""
    keys = {"spacing": spacing, "first": first, "last_gap": last}
    table = {k: f"{v:.6f} ft" for k, v in keys.items()}
    params = bike_lane.Params.model_validate({**table, "arrow": arrow})
    unit = 18.0 if arrow else 6.0
    found = bike_lane.symbol_stations(length, params, fresh)
    assert all(s >= -1e-6 and s + unit <= length + 1e-6 for s in found)
    if not found:
        assert length <= unit or not fresh
        return
    steps = np.diff(found)
    assert np.all(steps <= spacing + 1e-5)
    assert np.ptp(steps) < 1e-6 if len(steps) else True
    if fresh and length >= first + unit:
        assert found[0] == pytest.approx(first, abs=1e-5)
    if len(found) > 1:
        assert found[-1] + unit <= length - last + 1e-5


def test_symbols_by_hand() -> None:
    """By hand: (530 - 20) / 250 = 2.04, so three symbols, 510 / 3 = 170 ft apart."""
    params = bike_lane.Params()
    assert bike_lane.symbol_stations(530.0, params, True) == pytest.approx([20, 190, 360])
    # behind a joint the first comes half a spacing in: (530 - 125) / 250 asks for two
    assert bike_lane.symbol_stations(530.0, params, False) == pytest.approx([125, 327.5])
    # 18 ft for symbol, gap and arrow: a lane of 30 ft keeps one in its middle
    assert bike_lane.symbol_stations(30.0, params, True) == pytest.approx([6.0])
    assert bike_lane.symbol_stations(17.0, params, True) == []
