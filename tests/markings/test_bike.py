"""Bicycle families measured on the paint against rows of the standard, and their checks."""

from __future__ import annotations

import math
from collections.abc import Mapping
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
from layoutgen.street.design import Design

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
STATE = {"BIKE-06", "BIKE-10", "BIKE-12", "BIKE-23"}


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
    "BIKE-10": ("two_stage", solid),
    "BIKE-13": ("two_stage", solid),
    "BIKE-16": ("one_way", lambda x: moved(x, "bike_lane/o2/line", along=-60.0)),
    "BIKE-17": ("circle", lambda x: moved(x, "bike_lane/l0/line/2", along=-30.0)),
    "BIKE-19": ("one_way", lambda x: moved(x, "bike_lane/o2/line", along=-95.0)),
    "BIKE-25": ("two_stage", lambda x: moved(x, "bike_lane/a1/line/1", scale=(1.0, 0.4))),
    "BIKE-32 speed": ("facilities", lambda x: street(x, "c", speed_mph=40.0)),
    "BIKE-32 line": ("facilities", lambda x: without(x, "bike_lane/c/line")),
    "BIKE-31": ("two_stage", lambda x: moved(x, "bike_detector/", scale=(1.2, 1.2))),
    "BUFFER-01": ("facilities", lambda x: moved(x, "bike_lane/b/line/2", scale=(1.0, 6.0))),
    "BUFFER-11": ("facilities", lambda x: without(x, "bike_lane/b/arrow")),
}


@pytest.mark.parametrize("name", WRONG)
def test_wrong_paint_is_told(name: str) -> None:
    scene, wrong = WRONG[name]
    row = name.split()[0]
    laid = laid_out(*place(scene))
    before = len(breaches(laid, row))
    assert len(breaches(wrong(laid), row)) > before
