"""Lines along the street measured on the paint, and their checks on good and bad paint."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scenes import SCENES, layout_of
from shapely import affinity

from layoutgen.markings.audit import AuditParams, audit
from layoutgen.markings.catalog import rule_catalog
from layoutgen.markings.checks.channelizing import arms
from layoutgen.markings.conformity import Check, Paint
from layoutgen.markings.jurisdiction import jurisdictions
from layoutgen.markings.paints import paints_of
from layoutgen.markings.reductions import advance_ft, taper_ft
from layoutgen.markings.sight import joined, passing_ft
from layoutgen.street.design import Design

INCH = 1 / 12
OWN = ("center_line", "lane_line", "edge_line", "dotted_extension", "channelizing", "flush_median",
       "lane_reduction", "turn_lane_arrows", "ring_edge")  # fmt: skip
#: every option of these families
ON: Mapping[str, Any] = {
    "dotted_extension": {
        "at": ["turn_lanes", "offset", "bend", "center_line", "edge_line", "far_side"],
        "edge_at": ["every_street"],
    },
    "edge_line": {"at": ["every_street"]},
    "flush_median": {"at": ["turn_lane_end"]},
    "turn_lane_arrows": {"median": "100 ft"},
    "ring_edge": {"at": ["inner", "outer"]},
    "center_line": {
        "no_passing": "curves",
        "by_volume": "recommended",
        "approach": "120 ft",
        "median": "100 ft",
    },
}
PLACES = ("rural", "offset_lanes", "lane_ends", "winding", "shared_lane", "fork", "circle",
          "lane_into_nothing", "cross", "five_lane", "one_way", "tee", "curve")  # fmt: skip


@cache
def place(scene: str, left: bool = False) -> tuple[gpd.GeoDataFrame, Design]:
    settings: dict[str, Any] = {"rules": ON}
    if left:
        settings["project"] = {"driving_side": "left"}
    markings, design, _ = layout_of(SCENES[scene](**settings))
    return markings, design


def paints(scene: str, left: bool = False) -> tuple[list[Paint], Design]:
    markings, design = place(scene, left)
    table = markings[["marking_id", "kind", "style", "color", "bearing_deg", "geometry"]]
    own, _ = paints_of(table.assign(width_ft=None), design, 60.0)
    return own, design


def checks(*rows: str) -> list[Check]:
    found = {id(c): c for rule in OWN for c in rule_catalog()[rule].checks}
    return [c for c in found.values() if not rows or c.row in rows]


def breaches(own: list[Paint], design: Design, *rows: str) -> list[str]:
    """Ids of the rows that are broken, whatever their jurisdiction."""
    params = AuditParams(jurisdictions=jurisdictions())
    found = audit(own, design, params, checks())
    return sorted({f.code for f in found.findings if not rows or f.code in rows})


def of(own: list[Paint], kind: str, style: str = "") -> list[Paint]:
    return [p for p in own if p.kind == kind and style in ("", p.style)]


@pytest.mark.parametrize("left", [False, True])
@pytest.mark.parametrize("scene", PLACES)
def test_good_paint_breaks_no_federal_row(scene: str, left: bool) -> None:
    own, design = paints(scene, left)
    found = audit(own, design, AuditParams(), checks())
    rows = {c.row for c in checks()}
    assert [(f.code, f.feature_id, f.text) for f in found.findings if f.code in rows] == []
    assert sum(r.checked for r in found.rows) > 5


@pytest.mark.parametrize("left", [False, True])
@pytest.mark.parametrize("scene", PLACES)
def test_paint_stays_on_the_pavement_and_apart(scene: str, left: bool) -> None:
    own, design = paints(scene, left)
    found = audit(own, design, AuditParams(), checks())
    faults = [f for f in found.findings if f.code not in {c.row for c in checks()}]
    faults = [f for f in faults if "no rule" not in f.text and f.code != "layout_kind_unknown"]
    assert [(f.code, f.feature_id, f.text) for f in faults] == []


def narrower(p: Paint, by: float = 0.5) -> Paint:
    """Every piece shrunk across: eroded from its sides, and stretched to its length again."""
    pieces = [piece.buffer(-q.short_ft * by / 2, cap_style="flat", join_style="mitre")
              for piece, q in zip(shapely.get_parts(p.shape), p.parts, strict=True)]  # fmt: skip
    return replaced(p, shapely.union_all(pieces))


def replaced(p: Paint, shape: Any) -> Paint:
    return Paint(**{**vars_of(p), "shape": shape})


def vars_of(p: Paint) -> dict[str, Any]:
    names = ("marking_id", "kind", "style", "color", "shape", "bearing_deg", "segment",
             "station_ft", "offset_ft", "leg", "from_ft", "to_ft", "left_ft",
             "right_ft")  # fmt: skip
    return {name: getattr(p, name) for name in names}


def colored(p: Paint, color: str) -> Paint:
    return Paint(**{**vars_of(p), "color": color})


def solid(p: Paint) -> Paint:
    """The gaps of a straight line filled."""
    return replaced(p, shapely.oriented_envelope(p.shape))


def half(p: Paint) -> Paint:
    """Without every second piece: the gaps grow."""
    return replaced(p, shapely.MultiPolygon(list(shapely.get_parts(p.shape)[::2])))


def lengthened(p: Paint, times: float) -> Paint:
    """Every piece longer, about its own middle, along itself."""
    out = []
    for q in p.parts:
        t = -(p.bearing_deg + q.turn_deg)
        flat = affinity.rotate(q.shape, -t, origin="centroid")
        out.append(affinity.rotate(affinity.scale(flat, 1.0, times), t, origin="centroid"))
    return replaced(p, shapely.MultiPolygon(out))


def turned(p: Paint) -> Paint:
    """Every piece turned round."""
    out = [affinity.rotate(q.shape, 180.0, origin="centroid") for q in p.parts]
    return replaced(p, shapely.MultiPolygon(out))


def mirrored(p: Paint) -> Paint:
    """Every piece mirrored across the travel."""
    out = []
    for q in p.parts:
        flat = affinity.rotate(q.shape, p.bearing_deg, origin="centroid")
        flat = affinity.scale(flat, -1.0, 1.0)
        out.append(affinity.rotate(flat, -p.bearing_deg, origin="centroid"))
    return replaced(p, shapely.MultiPolygon(out))


def one_line(p: Paint) -> Paint:
    """Only one line of a double."""
    return replaced(p, max(shapely.get_parts(p.shape), key=lambda g: g.area))


def shifted(p: Paint, by_ft: float) -> Paint:
    """Moved to the right of its travel."""
    t = np.radians(p.bearing_deg)
    moved = affinity.translate(p.shape, by_ft * np.cos(t), -by_ft * np.sin(t))
    return replaced(p, moved)


def chopped(p: Paint) -> Paint:
    """Pieces of a few feet only."""
    spots = shapely.get_coordinates(shapely.segmentize(p.shape.boundary, 20.0))
    return replaced(p, p.shape.difference(shapely.union_all(shapely.points(spots)).buffer(8.0)))


def gone(_: Paint) -> None:
    return None


#: row, scene, kind, style, what is done to the paint of it
BAD: list[tuple[str, str, str, str, Any]] = [
    ("LINE-01", "cross", "center_line", "", narrower),
    ("LINE-01", "cross", "lane_line", "", narrower),
    ("LINE-01", "rural", "edge_line", "", lambda p: replaced(p, p.shape.buffer(0.5))),
    ("LINE-02", "one_way", "lane_line", "dotted", narrower),
    ("LINE-04", "cross", "lane_line", "broken", lambda p: lengthened(p, 1.4)),
    ("LINE-05", "cross", "lane_line", "broken", half),
    ("LINE-06", "one_way", "lane_line", "dotted", lambda p: lengthened(p, 1.4)),
    ("LINE-07", "one_way", "lane_line", "dotted", half),
    ("LINE-08", "cross", "dotted_extension", "", lambda p: lengthened(p, 1.5)),
    ("LINE-09", "cross", "dotted_extension", "", half),
    ("LINE-10", "cross", "dotted_extension", "", narrower),
    ("LINE-22", "cross", "dotted_extension", "", narrower),
    ("LINE-11", "cross", "dotted_extension", "center_line", lambda p: colored(p, "white")),
    ("LINE-12", "cross", "dotted_extension", "center_line",
     lambda p: replaced(p, shapely.union(p.shape, shifted(p, 8 * INCH).shape))),
    ("LINE-13", "cross", "dotted_extension", "center_line", solid),
    ("LINE-21", "tee", "dotted_extension", "edge_line", lambda p: p),
    ("LINE-15", "circle", "ring_edge", "inner", lambda p: colored(p, "white")),
    ("LINE-16", "circle", "ring_edge", "outer", lambda p: colored(p, "yellow")),
    ("LINE-18", "cross", "lane_line", "", narrower),
    ("CENTER-01", "cross", "center_line", "", one_line),
    ("CENTER-02", "cross", "center_line", "", gone),
    ("CENTER-05", "winding", "center_line", "", gone),
    ("LANE-01", "one_way", "lane_line", "solid", gone),
    ("LANE-03", "one_way", "lane_line", "dotted",
     lambda p: replaced(p, shapely.MultiPolygon(
         list(shapely.get_parts(lengthened(p, 3.0).shape)[::3])))),
    ("LANE-05", "one_way", "lane_line", "solid", narrower),
    ("EDGE-01", "rural", "edge_line", "", gone),
    ("EDGE-02", "rural", "edge_line", "", gone),
    ("EDGE-04", "rural", "edge_line", "", chopped),
    ("EDGE-05", "rural", "edge_line", "", lambda p: Paint(**{
        **vars_of(p), "left_ft": p.left_ft + 0.5, "right_ft": p.right_ft + 0.5})),
    ("TAPER-01", "lane_ends", "lane_reduction", "taper_line",
     lambda p: Paint(**{**vars_of(p), "to_ft": p.to_ft - 60.0})),
    ("TAPER-02", "lane_ends", "lane_reduction", "taper_line",
     lambda p: Paint(**{**vars_of(p), "to_ft": p.to_ft - 60.0})),
    ("TAPER-03", "lane_ends", "lane_reduction", "taper_line",
     lambda p: Paint(**{**vars_of(p), "to_ft": p.from_ft + 90.0})),
    ("ARROW-10", "long_reduction", "lane_reduction", "arrow", gone),
    ("TWLTL-01", "shared_lane", "center_line", "", lambda p: mirrored_across(p)),
    ("TWLTL-02", "shared_lane", "turn_lane_arrow", "", gone),
    ("CHAN-01", "fork", "channelizing_line", "", narrower),
    ("CHAN-02", "lane_into_nothing", "flush_median", "double_solid", one_line),
    ("CHAN-04", "lane_into_nothing", "flush_median", "double_solid",
     lambda p: replaced(p, p.shape.intersection(p.shape.centroid.buffer(20.0)))),
    ("CHEV-01", "fork", "chevrons", "",
     lambda p: replaced(p, p.shape.buffer(-0.2, join_style="mitre"))),
    ("CHEV-03", "fork", "chevrons", "", lambda p: replaced(p, squeezed(p, 0.3))),
    ("CHEV-07", "fork", "chevrons", "", turned),
    ("CHEV-08", "lane_into_nothing", "flush_median", "diagonals", mirrored),
    ("ROUND-02", "circle", "ring_edge", "outer",
     lambda p: replaced(p, shapely.concave_hull(p.shape, 1.0).boundary.buffer(3.0))),
]  # fmt: skip


def squeezed(p: Paint, times: float) -> Any:
    """Every piece shorter along the travel: its arms stand steeper."""
    out = []
    for q in p.parts:
        flat = affinity.rotate(q.shape, p.bearing_deg, origin="centroid")
        flat = affinity.scale(flat, 1.0, times)
        out.append(affinity.rotate(flat, -p.bearing_deg, origin="centroid"))
    return shapely.MultiPolygon(out)


def mirrored_across(p: Paint) -> Paint:
    """The solid line where the broken one is, and the other way round (curved lines too)."""
    axis = p.segment.axis if p.segment is not None else None
    middle = (p.left_ft + p.right_ft) / 2
    solid_ = max(p.parts, key=lambda q: q.long_ft)
    offset = (p.right_ft + p.left_ft) / 2
    moved = 8 * INCH * (1.0 if _right_of(axis, solid_.shape, middle) < 0 else -1.0)
    line = axis.parallel_offset(abs(offset + moved), "right" if offset + moved > 0 else "left")
    rest = [q.shape for q in p.parts if q is not solid_]
    return replaced(p, shapely.MultiPolygon([line.buffer(2 * INCH, cap_style="flat"), *rest]))


def _right_of(axis: Any, shape: Any, offset_ft: float) -> float:
    spot = shapely.point_on_surface(shape)
    at = axis.project(spot)
    a, b = axis.interpolate(at - 1.0), axis.interpolate(at + 1.0)
    across = (spot.x - a.x) * (b.y - a.y) - (spot.y - a.y) * (b.x - a.x)
    return float(across / a.distance(b)) - offset_ft


@pytest.mark.parametrize(("row", "scene", "kind", "style", "spoil"), BAD,
                         ids=[f"{b[0]}-{b[2]}" for b in BAD])  # fmt: skip
def test_a_check_fires_on_paint_made_wrong(
    row: str, scene: str, kind: str, style: str, spoil: Any
) -> None:
    own, design = paints(scene)
    assert row == "LINE-21" or row not in breaches(own, design, row), "breached before"
    touched = of(own, kind, style)
    assert touched, "no such paint in the scene"
    bad = [q for p in own if (q := spoil(p) if p in touched else p) is not None]
    assert row in breaches(bad, design, row)


# ---- numbers of the standard, on the finished polygons ---------------------------------------


@pytest.mark.parametrize("left", [False, True])
def test_taper_of_a_lane_that_ends(left: bool) -> None:
    """TAPER-01, TAPER-02: W x S from 45 mph on, W x S x S / 60 below; both by hand."""
    own, _ = paints("lane_ends", left)
    lengths = {p.marking_id.split("/")[1]: p.to_ft - p.from_ft
               for p in of(own, "lane_reduction", "taper_line")}  # fmt: skip
    # w1 moves its edge from 24 to 14 ft at 35 mph, f1 from 18 to 12 ft at 45 mph
    assert lengths["w1"] == pytest.approx(10 * 35 * 35 / 60, abs=0.5)
    assert lengths["f1"] == pytest.approx(6 * 45, abs=0.5)


@pytest.mark.parametrize(
    ("shift", "speed", "rural", "wanted"),
    [(12, 45, False, 540), (12, 60, True, 720), (12, 40, False, 320), (12, 30, False, 180),
     (6, 25, False, 100), (6, 25, True, 200), (4, 44.9, True, 200)],
)  # fmt: skip
def test_length_of_tapers(shift: float, speed: float, rural: bool, wanted: float) -> None:
    """TAPER-01 to TAPER-03."""
    assert taper_ft(shift, speed, rural=rural) == pytest.approx(wanted)


def test_tables_by_speed() -> None:
    """NPZ-01, NPZ-06, NPZ-10; ADV-01, ADV-06; between rows the next faster one."""
    assert [passing_ft(v) for v in (20, 25, 50, 52, 70, 80)] == [450, 450, 800, 900, 1200, 1200]
    assert [advance_ft(v) for v in (20, 45, 46, 90)] == [225, 775, 885, 1600]


def test_zones_nearer_than_400_ft_are_one() -> None:
    """CENTER-08."""
    assert joined([(500.0, 600.0), (0.0, 100.1)]) == [(0.0, 600.0)]
    assert joined([(500.0, 600.0), (0.0, 100.0)]) == [(0.0, 100.0), (500.0, 600.0)]


@pytest.mark.parametrize("left", [False, True])
def test_the_solid_line_lies_beside_the_traffic_that_must_not_pass(left: bool) -> None:
    """Who drives toward the curves is barred first: from the west eastbound traffic."""
    own, design = paints("winding", left)
    first, last = of(own, "center_line", "solid_and_broken")
    assert first.station_ft < last.station_ft
    east = 1 if not left else -1  # side of the eastbound lane: right of the axis, or left
    for paint, side in ((first, east), (last, -east)):
        line = max(paint.parts, key=lambda p: p.long_ft)
        spot = shapely.get_coordinates(shapely.point_on_surface(line.shape))[0]
        axis = design.segments[paint.segment.index].axis if paint.segment else None
        at = axis.project(shapely.Point(spot))
        a, b = (shapely.get_coordinates(axis.interpolate(at + d))[0] for d in (-1.0, 1.0))
        way = (b - a) / np.hypot(*(b - a))
        offset = (spot - a)[0] * way[1] - (spot - a)[1] * way[0]
        assert offset * side == pytest.approx(4 * INCH, abs=0.02)


def test_passing_is_barred_as_far_before_a_curve_as_must_be_seen() -> None:
    """NPZ-06: 800 ft at 50 mph; the sharp curve begins at 1,100 ft and hides what lies behind it.

    By hand: 520 ft of curve over 62 deg has a radius of 480.5 ft; the chord of a view stays within
    13 ft of it over an arc of 2 x 480.5 x acos(1 - 13 / 480.5) = 223.9 ft. A driver sees 800 ft as
    long as no more than that of the curve lies in view: to 1100 + 224 - 800 = 524 ft and before
    that; straight parts of the view make it a little less.
    """
    own, _ = paints("winding")
    first = of(own, "center_line", "solid_and_broken")[0]
    assert 300.0 < first.from_ft <= 524.0 + 20.0


@pytest.mark.parametrize("left", [False, True])
def test_edge_lines_are_white_on_the_outer_and_yellow_on_the_inner_side(left: bool) -> None:
    """LINE-15, LINE-16, on a one-way street digitised against its traffic; EDGE-05: 2 in inside."""
    own, design = paints("one_way", left)
    lines = [p for p in of(own, "edge_line") if p.segment and p.segment.segment_id == "o1"]
    segment = next(s for s in design.segments if s.segment_id == "o1")
    lanes = segment.lanes(-1)
    for p in lines:
        at_right = p.offset_ft < 0  # of traffic that runs against the axis
        assert p.color == ("white" if at_right != left else "yellow")
        edge = lanes[0].left_ft if p.offset_ft < 0 else lanes[-1].right_ft
        gap = p.left_ft - edge if p.offset_ft < 0 else edge - p.right_ft
        assert gap == pytest.approx(2 * INCH, abs=0.01)
    assert lines


@pytest.mark.parametrize("left", [False, True])
def test_pairs_of_arrows_face_each_other(left: bool) -> None:
    """TWLTL-03, TWLTL-05: two and two, 32 ft from tip to tip, each for the other direction."""
    own, _ = paints("shared_lane", left)
    arrows = sorted(of(own, "turn_lane_arrow"), key=lambda p: p.station_ft)
    assert len(arrows) % 2 == 0
    assert len(arrows) >= 4
    for a, b in zip(arrows[::2], arrows[1::2], strict=True):
        turn = abs((a.bearing_deg - b.bearing_deg) % 360.0 - 180.0)
        assert turn < 5.0, "on a curve they stand a few degrees apart"
        assert b.from_ft - a.to_ft == pytest.approx(32.0, abs=0.5)


@pytest.mark.parametrize("left", [False, True])
def test_chevrons_lie_between_the_roadways(left: bool) -> None:
    """CHEV-01: 12 in at 55 mph; CHEV-03: 45 deg; none of it in a lane."""
    own, design = paints("fork", left)
    roads = shapely.union_all(
        [s.axis.buffer(5.0) for s in design.segments]
    )  # fmt: skip
    found = of(own, "chevrons")
    assert {p.style for p in found} == {"diverge", "merge"}
    for p in found:
        assert not p.shape.intersects(roads)
        for part in p.parts:
            width, angle = arms(part.shape) or (0.0, 0.0)
            assert width == pytest.approx(1.0, abs=0.02)
            assert angle == pytest.approx(90.0, abs=1.0)
