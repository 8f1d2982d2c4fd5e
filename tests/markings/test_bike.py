"""Bicycle families measured on the paint against rows of the standard, and their checks."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scenes import SCENES, layout_of
from shapely import affinity

from layoutgen.markings.catalog import rule_catalog
from layoutgen.markings.conformity import Check, LaidOut, Paint
from layoutgen.street.design import Design, Strip

OWN = ("bike_lane", "buffer", "shared_lane", "bike_box", "turn_box", "bike_green",
       "bike_extension", "bike_detector")  # fmt: skip
#: every option of these families
ON: Mapping[str, Any] = {
    "bike_box": {"at": "bike_lane"},
    "turn_box": {"at": ["signal"]},
    "bike_green": {"at": "conflicts"},
    "bike_extension": {"at": ["signal"], "green": True},
    "bike_detector": {"at": "every_approach", "green": True},
}
LEFT = {"driving_side": "left"}
PLACES = ("two_stage", "bike_tee", "bike_turns", "facilities", "curve", "circle", "one_way")
#: rows of California, which ask for more than the federal text
STATE = {"BIKE-06", "BIKE-10", "BIKE-12", "BIKE-23", "BUFFER-08", "SLM-04"}


@cache
def place(scene: str, left: bool = False, on: bool = True) -> tuple[gpd.GeoDataFrame, Design]:
    settings: dict[str, Any] = {"rules": ON} if on else {}
    if left:
        settings["project"] = LEFT
    markings, design, _ = layout_of(SCENES[scene](**settings))
    return markings, design


def laid_out(markings: gpd.GeoDataFrame, design: Design) -> LaidOut:
    """The layout as the checks see it."""
    legs = {leg.leg_id: leg for leg in design.legs()}
    paints = []
    for row in markings.to_dict("records"):
        segment = design.segments[row["segment_index"]]
        paints.append(
            Paint(
                row["marking_id"],
                row["kind"],
                row["style"],
                row["color"],
                row["geometry"],
                row["bearing_deg"],
                segment,
                (row["from_ft"] + row["to_ft"]) / 2,
                row["offset_ft"],
                legs.get(row["anchor"]),
                row["from_ft"],
                row["to_ft"],
            )
        )
    return LaidOut(tuple(paints), design)


def checks(row: str = "") -> list[Check]:
    found = {id(c): c for rule in OWN for c in rule_catalog()[rule].checks}
    return [c for c in found.values() if not row or c.row == row]


def breaches(laid: LaidOut, row: str = "") -> list[tuple[str, str]]:
    """(row, what is wrong) of all own checks, or of one."""
    out = []
    for check in checks(row):
        if check.on:
            sites: Mapping[str, Any] = {
                "block": laid.design.blocks,
                "approach": [leg for leg in laid.design.legs() if leg.inbound],
                "intersection": laid.design.intersections,
            }
            found = [check.test(site, laid) for site in sites[check.on]]
        else:
            found = [check.test(p, laid) for p in laid.paints if check.asks(p)]
        out += [(check.row, text) for text in found if text]
    return out


@pytest.mark.parametrize("left", [False, True])
@pytest.mark.parametrize("scene", PLACES)
def test_our_own_layouts_stand_the_checks(scene: str, left: bool) -> None:
    laid = laid_out(*place(scene, left))
    told = [b for b in breaches(laid) if b[0] not in STATE]
    assert not told


def of(markings: gpd.GeoDataFrame, kind: str, style: str = "") -> list[Any]:
    own = markings[markings["kind"] == kind]
    return list((own[own["style"] == style] if style else own).to_dict("records"))


def turned(row: Any, shape: Any = None) -> Any:
    """Coordinates with the travel that reads a marking as +y and its right as +x."""
    t = math.radians(row["bearing_deg"])
    xy = shapely.get_coordinates(row["geometry"] if shape is None else shape)
    return np.column_stack([xy @ np.array([math.cos(t), -math.sin(t)]),
                            xy @ np.array([math.sin(t), math.cos(t)])])  # fmt: skip


# ---- bike lane ------------------------------------------------------------------------------


@pytest.mark.parametrize("left", [False, True])
def test_dotted_end_of_a_bike_lane(left: bool) -> None:
    """BIKE-14 pieces of 2 ft with gaps of 6 ft; BIKE-15 over 50 to 200 ft before the stop line."""
    markings, _ = place("two_stage", left, on=False)
    dotted = of(markings, "bike_lane", "traffic_dotted")
    assert len(dotted) == 2  # one approach of each half; the cross street has no bike lanes
    for row in dotted:
        pieces = shapely.get_parts(row["geometry"])
        along = sorted((turned(row, p)[:, 1].min(), turned(row, p)[:, 1].max()) for p in pieces)
        assert [b - a for a, b in along] == pytest.approx([2.0] * 7)
        gaps = [b[0] - a[1] for a, b in pairwise(along)]
        assert gaps == pytest.approx([6.0] * 6)
        stops = [r for r in of(markings, "stop_line") if r["segment_id"] == row["segment_id"]]
        ends = [turned(row, r["geometry"])[:, 1].min() for r in stops]
        assert abs(min(ends) - along[-1][1]) < 6.0  # the stop line is skewed
        assert 44.0 <= along[-1][1] - along[0][0] <= 200.0


def test_dotted_only_where_a_street_leaves_on_that_side() -> None:
    """BIKE-13: at a T not on the side away from the stem; the lane on the stem is crossed too."""
    markings, _ = place("bike_tee", on=False)
    told = {(r["segment_id"], round(r["offset_ft"])) for r in of(markings, "bike_lane")
            if r["tag"] == "dotted"}  # fmt: skip
    assert told == {("m2", 13), ("s", -13)}
    markings, _ = place("bike_tee", left=True, on=False)
    told = {(r["segment_id"], round(r["offset_ft"])) for r in of(markings, "bike_lane")
            if r["tag"] == "dotted"}  # fmt: skip
    # the stem leaves to the north: on the left of traffic that comes from the west
    assert told == {("m1", -13), ("s", 13)}


@pytest.mark.parametrize("left", [False, True])
def test_words_read_from_the_nearest(left: bool) -> None:
    """BIKE-08 letters 44 to 72 in; BIKE comes first for the cyclist, then LANE, then the arrow."""
    project = {"project": LEFT} if left else {}
    rules = {"bike_lane": {"legend": "words"}}
    markings, _, _ = layout_of(SCENES["curve"](rules=rules, **project))
    figures = [r for r in of(markings, "bike_lane") if r["tag"] in ("word", "arrow")]
    for row in (r for r in figures if r["style"] == "BIKE"):
        assert np.ptp(turned(row)[:, 1]) == pytest.approx(6.0)
        after = {r["style"]: turned(row, r["geometry"])[:, 1].min() for r in figures
                 if r["geometry"].distance(row["geometry"]) < 26.0 and r["travel"] == row["travel"]
                 and abs(r["offset_ft"] - row["offset_ft"]) < 2.0}  # fmt: skip
        assert sorted(after, key=lambda style: after[style])[:3] == ["BIKE", "LANE", "arrow"]


# ---- the other families -----------------------------------------------------------------------


def between_ft(row: Any, other: Any) -> float:
    """From the far edge of a marking to the near edge of another, along the travel of the first."""
    return float(turned(row, other["geometry"])[:, 1].min() - turned(row)[:, 1].max())


@pytest.mark.parametrize("left", [False, True])
def test_shared_lane_markings(left: bool) -> None:
    """SLM-01 50 to 250 ft apart; SLM-02 the first within 50 ft; SLM-06 in the middle of a lane
    below 14 ft; SLM-05 12 to 13 ft off the curb beside parked cars."""
    markings, design = place("bike_turns", left)
    rows = of(markings, "shared_lane")
    assert {r["segment_id"] for r in rows} == {"s1", "s2"}
    for row in rows:
        segment = design.segments[row["segment_index"]]
        curb = min(abs(row["offset_ft"] - edge) for edge in segment.edges_ft)
        lane = next(s for s in segment.strips if s.left_ft < row["offset_ft"] < s.right_ft)
        assert lane.direction == row["travel"]
        if lane.width_ft < 14.0:
            assert row["offset_ft"] == pytest.approx(lane.center_ft)
        elif segment.has("parking"):
            assert 12.0 <= curb <= 13.0
        else:
            assert curb >= 4.0
    for segment_id in ("s1", "s2"):
        for travel in (1, -1):
            own = sorted((r for r in rows if r["segment_id"] == segment_id
                          and r["travel"] == travel), key=lambda r: r["from_ft"])  # fmt: skip
            steps = [b["from_ft"] - a["from_ft"] for a, b in pairwise(own)]
            assert own
            assert all(50.0 <= step <= 250.0 for step in steps)


def test_shared_lane_markings_are_never_too_near() -> None:
    """SLM-01: also where 50 ft are wanted, which even steps would fall below."""
    rules = {"shared_lane": {"spacing": "50 ft", "first": "17 ft"}}
    markings, _, _ = layout_of(SCENES["bike_turns"](rules=rules))
    own = sorted(r["from_ft"] for r in of(markings, "shared_lane")
                 if r["segment_id"] == "s1" and r["travel"] == 1)  # fmt: skip
    steps = np.diff(own)
    assert len(steps) > 4
    assert steps.min() >= 50.0
    assert steps.max() <= 100.0


@pytest.mark.parametrize("left", [False, True])
def test_bike_boxes(left: bool) -> None:
    """BIKEBOX-01 at least 10 ft between the lines, BIKEBOX-03 apart from the crosswalk, BIKEBOX-04
    green over all of it, BIKEBOX-02 a symbol inside that faces the approach."""
    markings, _ = place("two_stage", left)
    stops = {r["anchor"]: r for r in of(markings, "stop_line")}
    walks = {r["anchor"]: r for r in of(markings, "crosswalk")}
    grounds = {r["anchor"]: r for r in of(markings, "bike_box", "ground")}
    lines = of(markings, "bike_box", "line")
    assert len(lines) == 2
    for line in lines:
        stop, ground = stops[line["anchor"]], grounds[line["anchor"]]
        assert stop["geometry"].distance(line["geometry"]) >= 10.0
        assert walks[line["anchor"]]["geometry"].distance(line["geometry"]) >= 4.0 - 1e-6
        for edge in (stop, line):
            assert ground["geometry"].distance(edge["geometry"]) < 0.01
        symbols = [r for r in of(markings, "bike_box", "symbol") if r["anchor"] == line["anchor"]]
        assert symbols
        assert all(ground["geometry"].contains(r["geometry"]) for r in symbols)
        assert all(r["bearing_deg"] == pytest.approx(stop["bearing_deg"]) for r in symbols)


@pytest.mark.parametrize("left", [False, True])
def test_green_of_a_box_and_of_its_approach_leave_no_bare_pavement(left: bool) -> None:
    """Beside the stop line the green of the bike lane goes on; it does not lie under the line."""
    rules = {"bike_box": {"at": "bike_lane"}, "bike_green": {"at": "approaches"}}
    own: dict[str, Any] = {"rules": rules}
    if left:
        own["project"] = {"driving_side": "left"}
    markings, _, _ = layout_of(SCENES["two_stage"](**own))
    stops = {r["anchor"]: r for r in of(markings, "stop_line")}
    approaches = shapely.union_all([r["geometry"] for r in of(markings, "bike_green")])
    grounds = of(markings, "bike_box", "ground")
    assert len(grounds) == 2
    for ground in grounds:
        assert len(ground["geometry"].geoms) == 1
        assert ground["geometry"].distance(approaches) < 0.05
        stop = stops[ground["anchor"]]["geometry"]
        assert ground["geometry"].intersection(stop).area < 0.01


def test_no_box_where_only_the_departure_has_a_bike_lane() -> None:
    """A box belongs to an approach with a bike lane, and the stop line stays where none is."""
    scene = SCENES["two_stage"](rules={"bike_box": {"at": "bike_lane"}})
    rows = [dict(r) for r in scene.streets]
    rows[0] |= {"bike_lane": "left"}  # a1 leads to the crossing: its left side leads away
    markings, _, _ = layout_of(replace(scene, streets=rows))
    boxes = of(markings, "bike_box", "line")
    assert [r["segment_id"] for r in boxes] == ["a2"]
    stop = next(r for r in of(markings, "stop_line") if r["segment_id"] == "a1")
    walk = next(r for r in of(markings, "crosswalk") if r["segment_id"] == "a1")
    assert stop["geometry"].distance(walk["geometry"]) == pytest.approx(4.0, abs=0.01)


@pytest.mark.parametrize("left", [False, True])
def test_turn_boxes(left: bool) -> None:
    """BIKEBOX-10 solid white on all sides; BIKEBOX-09 symbol, then an arrow across the street."""
    markings, _ = place("two_stage", left)
    boxes = of(markings, "turn_box", "outline")
    assert len(boxes) == 2
    lanes = [r for r in of(markings, "bike_lane") if r["tag"] != "dotted"]
    for box in boxes:
        hull = box["geometry"].convex_hull
        assert box["geometry"].buffer(0.01).interiors[0]
        inside = [r for r in of(markings, "turn_box") if hull.contains(r["geometry"].centroid)]
        symbol = next(r for r in inside if r["style"] == "symbol")
        arrow = next(r for r in inside if r["style"].startswith("arrow"))
        assert arrow["style"] == ("arrow_right" if left else "arrow_left")
        assert between_ft(symbol, arrow) > 0.2
        others = [r for r in markings.to_dict("records")
                  if r["kind"] in ("crosswalk", "bike_extension", "stop_line")]  # fmt: skip
        assert all(hull.intersection(r["geometry"]).area < 0.01 for r in [*others, *lanes])


def test_green_keeps_the_cycle_of_the_dots() -> None:
    """GREEN-04: a piece of green as long as each dot of the line, beside it."""
    markings, _ = special("dots")
    greens = of(markings, "bike_green", "approaches_dots")
    assert len(greens) == 2
    for green in greens:
        line = next(r for r in of(markings, "bike_lane", "traffic_dotted")
                    if r["segment_id"] == green["segment_id"])  # fmt: skip
        spans = [sorted((turned(r, p)[:, 1].min(), turned(r, p)[:, 1].max())
                        for p in shapely.get_parts(r["geometry"]))
                 for r in (green, line)]  # fmt: skip
        assert np.allclose(spans[0], spans[1], atol=0.02)
        assert len(spans[0]) == 7


def test_extensions_lie_at_both_limits_of_the_lane() -> None:
    """BIKE-21 two dotted lines 5 ft apart; GREEN-03 green between pairs of dots only."""
    markings, _ = place("two_stage")
    rows = of(markings, "bike_extension", "dotted")
    assert len(rows) == 4
    for anchor in {r["anchor"] for r in rows}:
        a, b = (r for r in rows if r["anchor"] == anchor)
        assert a["geometry"].distance(b["geometry"]) == pytest.approx(5.0 - 0.5, abs=0.05)
        count = {len(shapely.get_parts(r["geometry"])) for r in (a, b)}
        green = next(r for r in of(markings, "bike_extension", "green") if r["anchor"] == anchor)
        assert count == {len(shapely.get_parts(green["geometry"]))}


def test_detector_symbols() -> None:
    """BIKE-31: 24 in wide and 42 in long, upstream of the stop line, read by its approach."""
    markings, _ = place("two_stage")
    rows = of(markings, "bike_detector", "symbol")
    assert len(rows) == 4
    for row in rows:
        assert np.ptp(turned(row), axis=0) == pytest.approx([2.0, 3.5], abs=1e-6)
        stop = next(r for r in of(markings, "stop_line") if r["anchor"] == row["anchor"])
        assert 3.0 < between_ft(row, stop) < 8.0


# ---- a check that nothing can break is no check ------------------------------------------------


def without(laid: LaidOut, *stems: str) -> LaidOut:
    return LaidOut(tuple(p for p in laid.paints if not p.marking_id.startswith(stems)), laid.design)


def moved(laid: LaidOut, stem: str, **new: Any) -> LaidOut:
    """Paints whose id begins so made wrong; `along` moves them on their street."""
    out = []
    for p in laid.paints:
        if p.marking_id.startswith(stem):
            fields = dict(new)
            by = fields.pop("along", 0.0)
            if by:
                fields |= {"station_ft": p.station_ft + by, "from_ft": p.from_ft + by,
                           "to_ft": p.to_ft + by}  # fmt: skip
            if "scale" in fields:
                fields["shape"] = affinity.scale(p.shape, *fields.pop("scale"))
            p = replace(p, **fields)
            p.__dict__.pop("parts", None)
        out.append(p)
    return LaidOut(tuple(out), laid.design)


def street(laid: LaidOut, segment_id: str, **new: Any) -> LaidOut:
    """The layout on a street that is otherwise."""
    segments = {s.index: replace(s, **new) for s in laid.design.segments
                if s.segment_id == segment_id}  # fmt: skip
    assert segments
    blocks = tuple(replace(b, segment=segments.get(b.segment.index, b.segment))
                   for b in laid.design.blocks)  # fmt: skip
    paints = tuple(replace(p, segment=segments.get(p.segment.index, p.segment))
                   if p.segment else p for p in laid.paints)  # fmt: skip
    return LaidOut(paints, replace(laid.design, blocks=blocks))


def solid(laid: LaidOut) -> LaidOut:
    """Bike lanes whose dotted ends were painted solid."""
    out = [replace(p, shape=p.shape.convex_hull) if p.style == "traffic_dotted" else p
           for p in laid.paints]  # fmt: skip
    return LaidOut(tuple(out), laid.design)


def shaped(laid: LaidOut, stem: str, change: Callable[[Paint], Any]) -> LaidOut:
    """Paints whose id begins so with another shape."""
    hit = [p for p in laid.paints if p.marking_id.startswith(stem)]
    assert hit, stem
    return LaidOut(
        tuple(replace(p, shape=change(p)) if p in hit else p for p in laid.paints), laid.design
    )


def shifted(laid: LaidOut, stem: str, along_ft: float) -> LaidOut:
    """Moved along the travel that reads them."""

    def change(p: Paint) -> Any:
        t = math.radians(p.bearing_deg)
        return affinity.translate(p.shape, along_ft * math.sin(t), along_ft * math.cos(t))

    return shaped(laid, stem, change)


def squeezed(laid: LaidOut, stem: str, factor: float) -> LaidOut:
    """Pieces nearer together, each as large as before."""

    def change(p: Paint) -> Any:
        middle = p.shape.centroid
        return shapely.MultiPolygon([
            affinity.translate(q, (factor - 1) * (q.centroid.x - middle.x),
                               (factor - 1) * (q.centroid.y - middle.y))
            for q in shapely.get_parts(p.shape)
        ])  # fmt: skip

    return shaped(laid, stem, change)


def mirrored(laid: LaidOut, stem: str) -> LaidOut:
    """Every piece mirrored in its place."""
    return shaped(laid, stem, lambda p: shapely.MultiPolygon(
        [affinity.scale(q, -1.0, 1.0) for q in shapely.get_parts(p.shape)]))  # fmt: skip


def stretched(laid: LaidOut, stem: str, factor: float) -> LaidOut:
    """Every piece longer from west to east."""
    return shaped(laid, stem, lambda p: shapely.MultiPolygon(
        [affinity.scale(q, factor, 1.0) for q in shapely.get_parts(p.shape)]))  # fmt: skip


def opened(laid: LaidOut, stem: str) -> LaidOut:
    """An outline of which a side was forgotten."""
    return shaped(laid, stem, lambda p: p.shape.difference(
        shapely.box(p.shape.centroid.x, p.shape.bounds[1], *p.shape.bounds[2:])))  # fmt: skip


def narrow(laid: LaidOut, segment_id: str, width_ft: float) -> LaidOut:
    """A street whose buffers are so wide."""
    strips = next(s.strips for s in laid.design.segments if s.segment_id == segment_id)
    return street(laid, segment_id, strips=tuple(
        replace(s, right_ft=s.left_ft + width_ft) if s.kind == "buffer" else s for s in strips
    ))  # fmt: skip


def narrow_lane(laid: LaidOut) -> LaidOut:
    """Shared lanes of 10 ft whose markings stand at their outer edge, 3 ft from the curb."""
    lanes = (Strip("travel_lane", -1, -10.0, 0.0), Strip("travel_lane", 1, 0.0, 10.0))
    wrong = moved(laid, "shared_lane/s1", offset_ft=7.0)
    return street(wrong, "s1", strips=lanes)


def beside(laid: LaidOut, strip: Strip) -> LaidOut:
    """Street a1 with another strip in place of the bike lane on its right side."""
    strips = next(s.strips for s in laid.design.segments if s.segment_id == "a1")
    return street(laid, "a1", strips=tuple(strip if s.left_ft == 11.0 else s for s in strips))


def between(laid: LaidOut, width_ft: float) -> LaidOut:
    """Street a1 whose bike lane on the right side lies between general lanes."""
    strips = next(s.strips for s in laid.design.segments if s.segment_id == "a1")
    kept = tuple(s for s in strips if s.right_ft <= 11.0)
    right = 11.0 + width_ft
    own = (Strip("bike_lane", 1, 11.0, right), Strip("travel_lane", 1, right, right + 10.0))
    return street(laid, "a1", strips=kept + own)


def parked_contraflow(laid: LaidOut) -> LaidOut:
    """Street c, too fast for its lane without a buffer; cars park between lane and curb."""
    strips = next(s.strips for s in laid.design.segments if s.segment_id == "c")
    parking = Strip("parking", 0, strips[0].left_ft - 8.0, strips[0].left_ft)
    return street(laid, "c", speed_mph=40.0, strips=(parking, *strips))


def on_lane(laid: LaidOut) -> dict[str, Any]:
    """The place of a bike lane."""
    segment = next(s for s in laid.design.segments if s.has("bike_lane"))
    lane = next(s for s in segment.strips if s.kind == "bike_lane")
    return {"segment": segment, "offset_ft": lane.center_ft}


def on_green(laid: LaidOut) -> LaidOut:
    """A green ground under a shared-lane marking."""
    over = next(p for p in laid.paints if p.kind == "shared_lane")
    ground = replace(over, marking_id="bike_green/x/1", kind="bike_green", color="green",
                     shape=over.shape.convex_hull)  # fmt: skip
    return LaidOut((*laid.paints, ground), laid.design)


WRONG: Mapping[str, Any] = {
    "BIKE-01 symbols": ("two_stage", lambda x: without(x, "bike_lane/a1/symbol")),
    "BIKE-01 lines": ("two_stage", lambda x: without(x, "bike_lane/a1/line", "bike_lane/a1/dot")),
    "BIKE-02": (
        "two_stage",
        lambda x: without(x, "bike_lane/a2/symbol/1"),
    ),
    "BIKE-03": (
        "two_stage",
        lambda x: without(x, "bike_lane/a2/symbol/1"),
    ),
    "BIKE-06": (
        "two_stage",
        lambda x: without(x, "bike_lane/a2/symbol/1"),
    ),
    "BIKE-05": ("two_stage", lambda x: beside(x, Strip("shoulder", 0, 11.0, 16.0))),
    "BIKE-12": ("long_dots", solid),
    "BIKE-20": ("two_stage", lambda x: without(between(x, 5.0), "bike_lane/a1/arrow")),
    "BIKE-23": ("two_stage", lambda x: between(x, 3.5)),
    "BIKE-24": ("two_stage", lambda x: beside(x, Strip("bike_lane", 1, 11.0, 15.0))),
    "BIKE-10": ("two_stage", solid),
    "BIKE-13": ("two_stage", solid),
    "BIKE-16": ("one_way", lambda x: moved(x, "bike_lane/o2/line", along=-60.0)),
    "BIKE-17": ("circle", lambda x: moved(x, "bike_lane/l0/line/2", along=-30.0)),
    "BIKE-19": ("one_way", lambda x: moved(x, "bike_lane/o2/line", along=-95.0)),
    "BIKE-25": ("two_stage", lambda x: moved(x, "bike_lane/a1/line/1", scale=(1.0, 0.4))),
    "BIKE-32 speed": ("facilities", lambda x: street(x, "c", speed_mph=40.0)),
    "BIKE-32 parking at the curb": ("facilities", lambda x: parked_contraflow(x)),
    "BIKE-32 line": ("facilities", lambda x: without(x, "bike_lane/c/line")),
    "BIKE-31": ("two_stage", lambda x: moved(x, "bike_detector/", scale=(1.2, 1.2))),
    "BUFFER-01": ("facilities", lambda x: moved(x, "bike_lane/b/line/2", scale=(1.0, 6.0))),
    "BUFFER-03": ("narrow_buffer", lambda x: without(x, "buffer/b/1")),
    "BUFFER-04": ("wide_buffer", lambda x: without(x, "buffer/b/1")),
    "BUFFER-05": ("facilities", lambda x: squeezed(x, "buffer/b/1", 0.4)),
    "BUFFER-06": ("facilities", lambda x: without(x, "buffer/b/2")),
    "BUFFER-07": ("facilities", lambda x: mirrored(x, "buffer/b/1")),
    "BUFFER-08": ("agency_buffer", lambda x: moved(x, "buffer/b/1", scale=(1.5, 1.0))),
    "BUFFER-09": ("facilities", lambda x: stretched(x, "buffer/b/1", 4.0)),
    "BUFFER-10": ("facilities", lambda x: narrow(x, "b", 1.2)),
    "SLM-01": ("bike_turns", lambda x: moved(x, "shared_lane/s1/1", along=-190.0)),
    "SLM-02": ("bike_turns", lambda x: without(x, "shared_lane/s1/3", "shared_lane/s2/1")),
    "SLM-03": ("bike_turns", lambda x: street(x, "s1", speed_mph=40.0)),
    "SLM-04": ("bike_turns", lambda x: street(x, "s1", speed_mph=35.0)),
    "SLM-05": ("bike_turns", lambda x: moved(x, "shared_lane/s2", offset_ft=8.0)),
    "SLM-06": ("bike_turns", lambda x: narrow_lane(x)),
    "SLM-07": ("bike_turns", lambda x: moved(x, "shared_lane/s1", offset_ft=12.0)),
    "SLM-08": ("bike_turns", lambda x: moved(x, "shared_lane/", **on_lane(x))),
    "SLM-09": ("bike_turns", lambda x: on_green(x)),
    "SLM-11": ("bike_turns", lambda x: moved(x, "shared_lane/s2", offset_ft=13.0)),
    "SLM-12": ("bike_turns", lambda x: narrow_lane(x)),
    "SLM-13": ("bike_turns", lambda x: moved(x, "shared_lane/s1/1", along=-500.0)),
    "SLM-14": ("bike_turns", lambda x: street(x, "s1", speed_mph=36.0)),
    "SLM-17": ("bike_turns", lambda x: moved(x, "shared_lane/s1/1", scale=(1.0, 1.1))),
    "BIKEBOX-01": ("two_stage", lambda x: shifted(x, "stop_line/a1+a2-E", 4.0)),
    "BIKEBOX-02": ("two_stage", lambda x: without(x, "bike_box/a1+a2-E/symbol")),
    "BIKEBOX-03 line": ("two_stage", lambda x: without(x, "bike_box/a1+a2-E/line")),
    "BIKEBOX-03 gap": ("two_stage", lambda x: shifted(x, "bike_box/a1+a2-E/line", 4.0)),
    "BIKEBOX-04": ("two_stage", lambda x: moved(x, "bike_box/a1+a2-E/ground", scale=(0.7, 1.0))),
    "BIKEBOX-09 arrow": ("two_stage", lambda x: without(x, "turn_box/a1+a2-E/arrow")),
    "BIKEBOX-09 order": ("two_stage", lambda x: shifted(x, "turn_box/a1+a2-E/symbol", 5.5)),
    "BIKEBOX-10": ("two_stage", lambda x: opened(x, "turn_box/a1+a2-E/outline")),
    "BIKE-21": ("two_stage", lambda x: without(x, "bike_extension/a1+a2-E/left")),
    "BIKE-22": ("two_stage", lambda x: without(x, "bike_extension/a1+a2-E/right")),
    "GREEN-01": ("two_stage", lambda x: moved(x, "bike_green/a1", offset_ft=5.0)),
    "GREEN-02": ("two_stage", lambda x: shifted(x, "bike_green/a1", 30.0)),
    "GREEN-03": ("two_stage", lambda x: shifted(x, "bike_extension/a1+a2-E/green", 3.0)),
    "GREEN-04": ("dots", lambda x: shifted(x, "bike_green/a1", 4.0)),
    "BUFFER-11": ("facilities", lambda x: without(x, "bike_lane/b/arrow")),
}


#: settings of places that are no scenes
SPECIAL: Mapping[str, tuple[str, Mapping[str, Any]]] = {
    "narrow_buffer": ("facilities", {"cross_section": {"bike_buffer_width": "2.5 ft"}}),
    "wide_buffer": ("facilities", {"cross_section": {"bike_buffer_width": "4 ft"}}),
    "agency_buffer": ("facilities", {"rules": {"buffer": {"width": "6 in"}}}),
    "long_dots": ("two_stage", {"rules": {"bike_lane": {"dotted": "200 ft"}}}),
    "dots": ("two_stage", {"rules": {"bike_green": {"at": "approaches", "dots": True}}}),
}


def special(name: str) -> tuple[gpd.GeoDataFrame, Design]:
    if name not in SPECIAL:
        return place(name)
    scene, settings = SPECIAL[name]
    markings, design, _ = layout_of(SCENES[scene](**settings))
    return markings, design


def test_every_check_of_a_rule_is_seen_to_fire() -> None:
    """Rows that nothing here breaks would be checks that may be dead."""
    tried = {name.split()[0] for name in WRONG}
    general = {"LINE-14", "LINE-11", "LINE-08", "CHEV-02", "CHEV-03"}
    assert {c.row for c in checks()} == tried | general


@pytest.mark.parametrize("name", WRONG)
def test_wrong_paint_is_told(name: str) -> None:
    scene, wrong = WRONG[name]
    row = name.split()[0]
    laid = laid_out(*special(scene))
    before = len(breaches(laid, row))
    assert len(breaches(wrong(laid), row)) > before
