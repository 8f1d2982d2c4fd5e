"""Parking, curb zones and preferential lanes measured on the paint; their checks on bad paint."""

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
import shapely.ops
from scenes import SCENES, Row, Scene, layout_of
from shapely import affinity

from layoutgen.markings.audit import AuditParams, audit
from layoutgen.markings.catalog import rule_catalog
from layoutgen.markings.conformity import Check, Paint
from layoutgen.markings.jurisdiction import jurisdictions
from layoutgen.markings.paints import paints_of
from layoutgen.street.design import Design

INCH = 1 / 12
OWN = ("parking_stalls", "curb_zone", "accessible_stall", "preferential_lane", "red_lane")
ON: Mapping[str, Any] = {
    "parking_stalls": {"at": ["parallel", "angle"]},
    "red_lane": {"at": ["bus", "taxi", "bike_bus"]},
}
PLACES = ("curbside", "own_lanes", "shared_lanes", "cross", "five_lane", "one_way", "curve", "tee")


def winding(**settings: Any) -> Scene:
    """A street on a curve of 160 ft radius, parking and zones on both sides."""
    arc = shapely.Point(12, 7).buffer(160.0, quad_segs=48).exterior
    at = [arc.interpolate(30.0 + s).wkt for s in (90.0, 200.0, 300.0)]
    line = shapely.ops.substring(arc, 30.0, 430.0)
    zones: list[Row] = [
        {"zone_id": "b", "use": "bus_stop", "length_ft": 70.0, "side": "right", "at": at[0]},
        {"zone_id": "a", "use": "accessible", "length_ft": 52.0, "side": "right", "at": at[1]},
        {"zone_id": "n", "use": "no_parking", "length_ft": 60.0, "side": "left", "at": at[2]},
    ]
    street = {"segment_id": "k", "street_class": "collector", "width_ft": 42.0, "parking": "both"}
    return Scene([{**street, "at": line}], more={"curb_zones": zones}, settings=settings)


@cache
def place(scene: str, left: bool = False) -> tuple[gpd.GeoDataFrame, Design]:
    settings: dict[str, Any] = {"rules": ON}
    if left:
        settings["project"] = {"driving_side": "left"}
    made = winding if scene == "winding" else SCENES[scene]
    markings, design, _ = layout_of(made(**settings))
    return markings, design


def paints(markings: gpd.GeoDataFrame, design: Design) -> list[Paint]:
    table = markings[["marking_id", "kind", "style", "color", "bearing_deg", "geometry"]]
    return paints_of(table.assign(width_ft=None), design, 60.0)[0]


def checks() -> list[Check]:
    return [c for rule in OWN for c in rule_catalog()[rule].checks]


def breaches(own: list[Paint], design: Design) -> list[str]:
    """Ids of the rows that are broken, whatever their jurisdiction."""
    found = audit(own, design, AuditParams(jurisdictions=jurisdictions()), checks())
    return sorted({f.code for f in found.findings} - {"layout_kind_unknown"})


def along(markings: gpd.GeoDataFrame, design: Design, style: str) -> list[Any]:
    """Stations of every piece of the stalls of a style, piece by piece, per marking."""
    own = markings[(markings["kind"] == "parking_stall") & (markings["style"] == style)]
    out = []
    for row in own.to_dict("records"):
        axis = design.axes.lines()[row["segment_index"]]
        middles = shapely.centroid(shapely.get_parts(row["geometry"]))
        out.append(np.sort(shapely.line_locate_point(axis, middles)))
    return out


# ---- numbers of the standard ---------------------------------------------------------------------


def test_stall_marks() -> None:
    """PARK-02 seen 4 to 6 in, PARK-03 seen 12 in outside to outside, measured on the L marks."""
    markings, design = place("curbside")
    row = next(
        r
        for r in markings[markings["style"] == "parallel"].to_dict("records")
        if r["segment_id"] == "p1"
    )
    ends = shapely.get_parts(row["geometry"])
    mark = ends[0]
    turned = affinity.rotate(mark, row["bearing_deg"], origin=(0, 0))
    x0, y0, x1, y1 = turned.bounds
    assert (x1 - x0, y1 - y0) == pytest.approx((12 * INCH, 12 * INCH), abs=1e-6)
    # two strokes of 4 in that share their corner
    assert mark.area == pytest.approx((12 + 12 - 4) * 4 * INCH**2, abs=1e-6)
    assert design.segments


def test_inner_stalls_are_22_to_26_ft() -> None:
    """PARK-07 seen: between neighbor marks but the first and last two."""
    checked = 0
    for left in (False, True):
        markings, design = place("curbside", left)
        for at in along(markings, design, "parallel"):
            inner = np.diff(at)[1:-1]
            # middles of T marks lie on their stems, those of L marks beside
            assert ((inner > 22.0 - 0.01) & (inner < 26.0 + 0.01)).all(), inner
            checked += len(inner)
    assert checked >= 6


@pytest.mark.parametrize("left", [False, True])
def test_stalls_keep_clear(left: bool) -> None:
    """PARK-04, PARK-05, PARK-11 seen; 15 ft of a hydrant, and no zone (common practice)."""
    markings, design = place("curbside", left)
    stalls = shapely.union_all(markings[markings["kind"] == "parking_stall"].geometry.to_numpy())
    assert stalls.distance(shapely.Point(-500, -54)) >= 15.0
    walks = markings[markings["kind"] == "crosswalk"]
    for walk in walks.geometry:
        assert stalls.distance(walk) >= 20.0 - 0.01
    zones = shapely.union_all(markings[markings["rule"] == "curb_zone"].geometry.to_numpy())
    assert zones.envelope.area > 0.0
    assert stalls.distance(zones) > 0.1
    assert "trimmed" not in [f.code for f in layout_of(SCENES["curbside"](rules=ON))[2]]
    assert len(design.segments) == 4


@pytest.mark.parametrize("left", [False, True])
def test_stalls_keep_20_ft_to_the_nearest_point_of_a_skewed_crosswalk(left: bool) -> None:
    """PARK-05, PARK-06, PARK-11: over all of the stall, though nobody stands straight behind it."""
    rules = {**ON, "crosswalk": {"at": ["signal"]}}
    settings: dict[str, Any] = {"rules": rules}
    if left:
        settings["project"] = {"driving_side": "left"}
    base = SCENES["cross"](**settings)
    parked = [{**row, "parking": "both", "width_ft": 62.0} for row in base.streets]
    markings, _, _ = layout_of(replace(base, streets=parked))
    walks = markings[markings["kind"] == "crosswalk"]
    away = []
    for row in markings[markings["kind"] == "parking_stall"].to_dict("records"):
        # marks are 1 ft deep, stalls reach on to the curb, 8 ft from the edge of the lane
        side = math.radians(row["bearing_deg"] + (-90.0 if left else 90.0))
        curb = affinity.translate(row["geometry"], 7.0 * math.sin(side), 7.0 * math.cos(side))
        hulls = shapely.convex_hull(walks.geometry.to_numpy())
        away.append(min(shapely.distance(hulls, g).min() for g in (row["geometry"], curb)))
    assert len(away) >= 8
    assert min(away) == pytest.approx(20.0, abs=0.05)


def test_angle_stalls() -> None:
    """Lines 9 ft apart at right angles, 60 degrees from the curb, forward toward the curb."""
    for left in (False, True):
        markings, _ = place("curbside", left)
        row = markings[markings["style"] == "angle"].iloc[0]
        lines = [shapely.oriented_envelope(p) for p in row.geometry.geoms]
        assert len(lines) >= 10
        gaps = [a.centroid.distance(b.centroid) for a, b in pairwise(lines)]
        assert np.array(gaps) * math.sin(math.radians(60)) == pytest.approx(9.0, abs=0.01)


def test_zones_stay_out_of_intersections_and_crosswalks() -> None:
    zones: list[Row] = [
        {"zone_id": "z", "use": "bus_stop", "at": "LINESTRING (-80 -10, 200 20)"},
        {"zone_id": "y", "use": "no_parking", "at": "LINESTRING (-80 31, 30 42)"},
    ]
    markings, design, _ = layout_of(replace(SCENES["curbside"](), more={"curb_zones": zones}))
    area = shapely.union_all([c.area for c in design.intersections])
    own = markings[markings["rule"] == "curb_zone"]
    assert set(own["segment_id"]) == {"p1", "p2"}
    assert shapely.area(shapely.intersection(own.geometry.to_numpy(), area)).max() < 1e-6
    walks = shapely.union_all(markings[markings["kind"] == "crosswalk"].geometry.to_numpy())
    assert own.geometry.distance(walks).min() > 0.0


def test_words_of_a_zone_may_be_its_own() -> None:
    zone = {"zone_id": "z", "use": "loading", "side": "left", "text": "tour | bus",
            "length_ft": 90.0, "at": "POINT (-300 0)"}  # fmt: skip
    markings, _, _ = layout_of(replace(SCENES["curbside"](), more={"curb_zones": [zone]}))
    assert sorted(markings[markings["rule"] == "curb_zone"]["style"])[:2] == ["BUS", "TOUR"]


@pytest.mark.parametrize("left", [False, True])
def test_diamonds_and_words(left: bool) -> None:
    """HOV-01, HOV-02, HOV-05 seen; the first word of a message is the one met first (WORD-06)."""
    markings, design = place("own_lanes", left)
    diamonds = markings[markings["style"] == "diamond"]
    assert len(diamonds) >= 2
    for row in diamonds.to_dict("records"):
        x0, y0, x1, y1 = affinity.rotate(
            row["geometry"], row["bearing_deg"], origin=(0, 0)
        ).bounds  # fmt: skip
        assert x1 - x0 >= 2.5 - 1e-6
        assert y1 - y0 >= 12.0 - 1e-6
    words = markings[markings["rule"] == "preferential_lane"]
    for _, group in words[words["kind"] == "word"].groupby("segment_id"):
        way = np.sign(group["bearing_deg"].map(lambda b: math.sin(math.radians(b))))
        bus = group[group["style"] == "BUS"]
        for x, b in zip(bus.geometry.centroid.x, way[bus.index], strict=True):
            only = group[(group["style"] == "ONLY") & (way == b)].geometry.centroid.x
            assert ((only - x) * b > 0).any()
    assert design.driving_side == ("left" if left else "right")


def test_red_pavement_fills_the_lane() -> None:
    """GREEN-06 seen: full lane; and never through an intersection."""
    markings, design = place("own_lanes")
    red = markings[markings["kind"] == "red_lane"]
    assert len(red) == 4
    for row in red.to_dict("records"):
        segment = design.segments[row["segment_index"]]
        lane = min(segment.lanes(1) + segment.lanes(-1),
                   key=lambda s: abs(s.center_ft - row["offset_ft"]))  # fmt: skip
        assert row["geometry"].area == pytest.approx(
            lane.width_ft * (row["to_ft"] - row["from_ft"]), rel=1e-6
        )
    area = shapely.union_all([c.area for c in design.intersections])
    assert shapely.area(shapely.intersection(red.geometry.to_numpy(), area)).max() < 1e-6


def test_lanes_side_by_side_have_an_ordinary_line() -> None:
    """MUTCD 11th edition 3E.02 P4: normal width, broken."""
    markings, _ = place("shared_lanes")
    own = markings[(markings["segment_id"] == "g") & markings["is_line"]]
    assert set(own["kind"]) == {"lane_line", "red_lane"}
    assert own[own["kind"] == "lane_line"]["style"].tolist() == ["broken"]


# ---- nothing strange anywhere --------------------------------------------------------------------


@pytest.mark.parametrize("scene", [*PLACES, "winding"])
@pytest.mark.parametrize("left", [False, True])
def test_good_paint_breaks_no_row(scene: str, left: bool) -> None:
    markings, design = place(scene, left)
    assert breaches(paints(markings, design), design) == []
    own = markings[markings["rule"].isin(OWN)]
    roads = shapely.union_all([*design.roadways(), *(c.area for c in design.intersections)])
    assert shapely.covered_by(own.geometry.to_numpy(), roads.buffer(0.3)).all()


# ---- the checks see bad paint --------------------------------------------------------------------


def shifted(paint: Paint, by_ft: float) -> Paint:
    """Moved along its travel."""
    t = math.radians(paint.bearing_deg)
    shape = affinity.translate(paint.shape, by_ft * math.sin(t), by_ft * math.cos(t))
    return replace(paint, shape=shape)


def shrunk(paint: Paint, along_by: float, across_by: float) -> Paint:
    """Scaled along and across its travel."""
    b = paint.bearing_deg
    upright = affinity.rotate(paint.shape, b)
    small = affinity.scale(upright, across_by, along_by)
    return replace(paint, shape=affinity.rotate(small, -b))


def thick(paint: Paint) -> Paint:
    return replace(paint, shape=shapely.MultiPolygon([*shapely.get_parts(paint.shape.buffer(0.4))]))


def mirrored(paint: Paint) -> Paint:
    upright = affinity.rotate(paint.shape, paint.bearing_deg)
    return replace(paint, shape=affinity.rotate(affinity.scale(upright, -1.0, 1.0),
                                                -paint.bearing_deg))  # fmt: skip


WRONG: list[tuple[str, str, str, Callable[[Paint], Paint]]] = [
    ("PARK-01", "curbside", "parking_stall", lambda p: replace(p, color="yellow")),
    ("PARK-02", "curbside", "parking_stall", thick),
    ("PARK-04", "curbside", "parking_stall", lambda p: shifted(p, 30.0)),
    ("PARK-06", "curbside", "parking_stall", lambda p: shifted(p, -25.0)),
    ("PARK-11", "curbside", "parking_stall", lambda p: shifted(p, 30.0)),
    ("CHEV-09", "curbside", "no_parking_diagonals", mirrored),
    ("CHEV-09", "curbside", "no_parking_diagonals", lambda p: replace(p, color="yellow")),
    ("HOV-01", "own_lanes", "diamond", lambda p: shrunk(p, 1.0, 0.8)),
    ("HOV-02", "own_lanes", "diamond", lambda p: shrunk(p, 0.8, 1.0)),
    ("HOV-03", "own_lanes", "diamond", lambda p: shrunk(p, 0.6, 0.6)),
    ("HOV-05", "own_lanes", "diamond", lambda p: replace(p, offset_ft=p.offset_ft + 2.0)),
    ("HOV-05", "own_lanes", "bus", lambda p: replace(p, offset_ft=p.offset_ft + 2.0)),
    ("GREEN-06", "own_lanes", "red_lane", lambda p: shrunk(p, 1.0, 0.5)),
    ("LINE-16", "own_lanes", "solid", lambda p: replace(p, color="yellow")),
    ("LINE-02", "own_lanes", "solid", lambda p: shrunk(p, 1.0, 0.5)),
    ("LINE-14", "curbside", "accessible_stall", lambda p: replace(p, color="green")),
]


@pytest.mark.parametrize(("row", "scene", "what", "spoil"), WRONG)
def test_check_fires(row: str, scene: str, what: str, spoil: Callable[[Paint], Paint]) -> None:
    markings, design = place(scene)
    good = paints(markings, design)
    bad = [spoil(p) if what in (p.kind, p.style) else p for p in good]
    assert bad != good
    assert row not in breaches(good, design)
    assert row in breaches(bad, design)


def test_stalls_before_an_unsignalled_crosswalk() -> None:
    """PARK-05 seen: 20 ft; the signal of the scene is taken away."""
    scene = replace(
        SCENES["curbside"](rules={**ON, "crosswalk": {"at": ["every_leg"]}}), controls=()
    )
    markings, design, _ = layout_of(scene)
    good = paints(markings, design)
    assert "PARK-05" not in breaches(good, design)
    bad = [shifted(p, 30.0) if p.kind == "parking_stall" else p for p in good]
    assert "PARK-05" in breaches(bad, design)


def test_a_lane_without_word_is_told() -> None:
    """HOV-04 seen."""
    markings, design = place("own_lanes")
    good = paints(markings, design)
    bare = [p for p in good if p.kind != "word"]
    assert "HOV-04" not in breaches(good, design)
    assert "HOV-04" in breaches(bare, design)
