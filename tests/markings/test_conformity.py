"""Checks of the audit on paint made wrong: each must fire, and be silent on what we lay out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
import shapely
import shapely.affinity
import shapely.ops
from scenes import SCENES, layout_of

from layoutgen.markings.audit import AuditParams, Breach, audit
from layoutgen.markings.conformity import INCH, Paint
from layoutgen.markings.paints import paints_of
from layoutgen.street.design import Design

Change = Callable[[list[Paint], Design], list[Paint]]
#: what our defaults leave out, so that there is something to make wrong
SETTINGS: dict[str, dict[str, Any]] = {
    "bike_turns": {
        "rules": {
            "bike_extension": {"at": ["signal"], "green": True},
            "bike_green": {"at": "approaches"},
        }
    },
}
WHO = ("federal", "california", "washington", "missouri")


@cache
def laid(scene: str) -> tuple[tuple[Paint, ...], Design]:
    """Paints of our own layout of a scene, and its street model."""
    markings, design, _ = layout_of(SCENES[scene](**SETTINGS.get(scene, {})))
    return tuple(paints_of(markings, design, 60.0)[0]), design


def broken(paints: Sequence[Paint], design: Design) -> set[str]:
    """Rows that a layout breaks."""
    found = audit(paints, design, AuditParams(jurisdictions=WHO))
    return {f.code for f in found.findings if isinstance(f, Breach)}


def only(scene: str, row: str, change: Change) -> None:
    """The row is broken once the paint is changed, and is not before."""
    paints, design = laid(scene)
    assert row not in broken(paints, design)
    assert row in broken(change(list(paints), design), design)


def each(change: Callable[[Paint], Paint | None], *kinds: str) -> Change:
    """A change of every marking of some kinds; None takes it away."""

    def of_all(paints: list[Paint], _: Design) -> list[Paint]:
        changed = [change(p) if p.kind in kinds else p for p in paints]
        assert changed != paints
        return [p for p in changed if p is not None]

    return of_all


def gone(*kinds: str) -> Change:
    return each(lambda _: None, *kinds)


def painted(shape: Any) -> Callable[[Paint], Paint]:
    """A change of shape; the shape is made by a function of the paint."""
    return lambda paint: replace(paint, shape=shape(paint))


def along(paint: Paint, design: Design, rows: Sequence[tuple[float, float, Any]]) -> Paint:
    """Other strokes in its place: (offset from its middle, width, stations or None = all)."""
    assert paint.segment is not None
    axis = design.axes.lines()[paint.segment.index]
    middle, parts = (paint.left_ft + paint.right_ft) / 2, []
    for offset, width, spans in rows:
        line = shapely.offset_curve(axis, -(middle + offset))
        for start, stop in spans or [(paint.from_ft, paint.to_ft)]:
            piece = shapely.ops.substring(line, start, stop)
            parts.append(shapely.buffer(piece, width / 2, cap_style="flat"))
    return replace(paint, shape=shapely.union_all(parts))


def pieces(paint: Paint, long_ft: float, gap_ft: float) -> list[tuple[float, float]]:
    starts = np.arange(paint.from_ft, paint.to_ft - long_ft, long_ft + gap_ft)
    return [(float(s), float(s) + long_ft) for s in starts]


def restroked(kind: str, rows: Callable[[Paint], Any], style: str = "") -> Change:
    """Every line of a kind (and style) painted as other strokes."""

    def change(paints: list[Paint], design: Design) -> list[Paint]:
        own = [p.kind == kind and style in p.style for p in paints]
        assert any(own)
        return [
            along(p, design, rows(p)) if o else p for p, o in zip(paints, own, strict=True)
        ]  # fmt: skip

    return change


_SINGLE = restroked("center_line", lambda _: [(0.0, 4 * INCH, None)])
_THIN = 4 * INCH


@pytest.mark.parametrize(
    ("scene", "row", "change"),
    [
        ("tee", "CENTER-01", _SINGLE),
        ("cross", "CENTER-02", _SINGLE),
        ("cross", "CENTER-03", gone("center_line")),
        (
            "tee",
            "LINE-03",
            restroked("center_line", lambda _: [(-1, _THIN, None), (1, _THIN, None)]),
        ),
        ("tee", "LINE-01", restroked("center_line", lambda _: [(0.0, 9 * INCH, None)])),
        (
            "five_lane",
            "TWLTL-01",
            restroked("center_line", lambda _: [(0.0, _THIN, None)], "two_way"),
        ),
        ("five_lane", "TWLTL-02", gone("turn_arrow")),
        (
            "cross",
            "LINE-04",
            restroked("lane_line", lambda p: [(0.0, _THIN, pieces(p, 15.0, 45.0))], "broken"),
        ),
        (
            "cross",
            "LINE-05",
            restroked("lane_line", lambda p: [(0.0, _THIN, pieces(p, 10.0, 15.0))], "broken"),
        ),
        (
            "cross",
            "LINE-06",
            restroked("lane_line", lambda p: [(0.0, 8 * INCH, pieces(p, 4.5, 13.5))], "broken"),
        ),
        (
            "cross",
            "LINE-07",
            restroked("lane_line", lambda p: [(0.0, 8 * INCH, pieces(p, 3.0, 5.0))], "broken"),
        ),
        (
            "cross",
            "LANE-03",
            restroked("lane_line", lambda p: [(0.0, _THIN, pieces(p, 3.0, 9.0))], "broken"),
        ),
        (
            "cross",
            "LINE-02",
            restroked("lane_line", lambda p: [(0.0, 5 * INCH, pieces(p, 3.0, 9.0))]),
        ),
        ("cross", "LINE-18", restroked("lane_line", lambda _: [(0.0, 3 * INCH, None)])),
        ("five_lane", "LANE-01", gone("lane_line")),
        (
            "five_lane",
            "LANE-05",
            restroked("lane_line", lambda _: [(0.0, 6 * INCH, None)], "solid"),
        ),
        (
            "cross",
            "LINE-19",
            each(lambda p: replace(p, color="black"), "center_line"),
        ),
        (
            "five_lane",
            "TWLTL-04",
            each(painted(lambda p: shapely.affinity.scale(p.shape, 1.4, 1.4)), "center_line"),
        ),
    ],
)
def test_lines(scene: str, row: str, change: Change) -> None:
    """3A.04, 3B.01 to 3B.07."""
    only(scene, row, change)


@pytest.mark.parametrize(
    ("row", "setting", "adt"), [("CENTER-04", "urban", 4500), ("CENTER-05", "rural", 3500)]
)
def test_center_line_where_traffic_asks_for_one(row: str, setting: str, adt: int) -> None:
    paints, design = laid("cross")
    blocks = [
        replace(b, segment=replace(b.segment, adt=adt, setting=setting)) for b in design.blocks
    ]
    busy = replace(design, blocks=tuple(blocks))
    bare = [p for p in paints if p.kind != "center_line"]
    assert row not in broken(paints, busy)
    assert row not in broken(bare, design)
    assert row in broken(bare, busy)


def test_lines_of_state_highways_in_california() -> None:
    """LINE-17: 6 in where the street has a route number of the State."""
    paints, design = laid("asked_routes")
    assert "LINE-17" in broken(paints, design)
    wide = restroked("center_line", lambda _: [(-0.5, 0.5, None), (0.5, 0.5, None)])
    wide_lanes = restroked("lane_line", lambda _: [(0.0, 0.5, None)])
    assert "LINE-17" not in broken(wide_lanes(wide(list(paints), design), design), design)


def _only_figures(paint: Paint) -> bool:
    return paint.kind == "bike_lane" and paint.to_ft - paint.from_ft < 15.0


def _yellow_lane(paint: Paint) -> bool:
    return paint.kind == "bike_lane" and paint.color == "yellow"


def without(which: Callable[[Paint], bool]) -> Change:
    """A layout without some markings."""

    def change(paints: list[Paint], _: Design) -> list[Paint]:
        assert any(which(p) for p in paints)
        return [p for p in paints if not which(p)]

    return change


def moved(which: Callable[[Paint], bool], by_ft: Callable[[Paint], tuple[float, float]]) -> Change:
    """Some markings pushed (along, across) their segment."""

    def change(paints: list[Paint], design: Design) -> list[Paint]:
        assert any(which(p) for p in paints)
        return [pushed(p, design, *by_ft(p)) if which(p) else p for p in paints]

    return change


def pushed(paint: Paint, design: Design, along_ft: float, across_ft: float) -> Paint:
    assert paint.segment is not None
    ahead = design.axes.directions(np.array([paint.segment.index]), np.array([paint.station_ft]))[0]
    step = ahead * along_ft + np.array([ahead[1], -ahead[0]]) * across_ft
    return replace(
        paint,
        shape=shapely.affinity.translate(paint.shape, *step.tolist()),
        station_ft=paint.station_ft + along_ft,
        from_ft=paint.from_ft + along_ft,
        to_ft=paint.to_ft + along_ft,
        offset_ft=paint.offset_ft + across_ft,
        left_ft=paint.left_ft + across_ft,
        right_ft=paint.right_ft + across_ft,
    )


def _way(paint: Paint) -> int:
    """+1 where the lane of a figure runs along its segment."""
    lane = min(
        (s for s in paint.segment.strips if s.kind == "bike_lane"),  # type: ignore[union-attr]
        key=lambda s: abs(s.center_ft - paint.offset_ft),
    )
    return lane.direction


def _stretched(paint: Paint) -> Paint:
    """Markings of a lane led on over its last 100 ft."""
    return replace(paint, from_ft=paint.from_ft - 95.0, to_ft=paint.to_ft + 95.0)


@pytest.mark.parametrize(
    ("scene", "row", "change"),
    [
        ("curve", "BIKE-01", without(_only_figures)),
        ("bike_turns", "BIKE-02", moved(_only_figures, lambda p: (120.0 * _way(p), 0.0))),
        ("bike_turns", "BIKE-06", without(_only_figures)),
        ("bike_turns", "BIKE-16", each(_stretched, "bike_lane")),
        ("circle", "BIKE-17", each(_stretched, "bike_lane")),
        ("bike_turns", "BIKE-19", each(_stretched, "bike_lane")),
        ("facilities", "BIKE-32", without(_yellow_lane)),
        ("facilities", "CHAN-02", without(_yellow_lane)),
        ("bike_turns", "BUFFER-03", gone("buffer")),
        ("facilities", "BUFFER-06", gone("buffer")),
        (
            "facilities",
            "BUFFER-11",
            without(lambda p: _only_figures(p) and p.right_ft - p.left_ft < 2.5),
        ),
        (
            "bike_turns",
            "BUFFER-01",
            restroked("bike_lane", lambda _: [(0.0, 1.2, None)], "line"),
        ),
        (
            "bike_turns",
            "BIKE-22",
            without(lambda p: p.kind == "bike_extension" and p.marking_id.endswith("left/1")),
        ),
        (
            "bike_turns",
            "GREEN-03",
            each(
                lambda p: replace(p, shape=p.shape.convex_hull) if p.color == "green" else p,
                "bike_extension",
            ),
        ),
        (
            "bike_turns",
            "GREEN-04",
            restroked("bike_green", lambda p: [(0.0, 4.0, pieces(p, 3.0, 6.0))]),
        ),
    ],
)
def test_bike_lanes(scene: str, row: str, change: Change) -> None:
    """9E.01 to 9E.07."""
    only(scene, row, change)


def restripped(design: Design, change: Callable[[Any], Any]) -> tuple[Design, Callable[..., Any]]:
    """The same streets with other strips, and what tells paints about it."""
    segments = tuple(
        replace(s, strips=tuple(change(strip) for strip in s.strips)) for s in design.segments
    )
    blocks = tuple(replace(b, segment=segments[b.segment.index]) for b in design.blocks)
    crossings = tuple(
        replace(
            c,
            legs=tuple(
                replace(
                    leg,
                    segment=segments[leg.segment.index],
                    strips=tuple(change(strip) for strip in leg.strips),
                )
                for leg in c.legs
            ),
        )
        for c in design.intersections
    )
    legs = {leg.leg_id: leg for c in crossings for leg in c.legs}

    def told(paint: Paint) -> Paint:
        segment = segments[paint.segment.index] if paint.segment else None
        leg = legs.get(paint.leg.leg_id) if paint.leg else None
        return replace(paint, segment=segment, leg=leg)

    return replace(design, segments=segments, blocks=blocks, intersections=crossings), told


def test_bicycle_in_a_shoulder() -> None:
    """BIKE-05."""
    paints, design = laid("curve")
    assert "BIKE-05" not in broken(paints, design)
    other, told = restripped(
        design, lambda s: replace(s, kind="shoulder") if s.kind == "bike_lane" else s
    )
    assert "BIKE-05" in broken([told(p) for p in paints], other)


def test_bicycle_lane_between_motor_lanes() -> None:
    """BIKE-20: a bicycle and an arrow; the strips beside a lane become lanes of its direction."""
    paints, design = laid("bike_turns")
    assert "BIKE-20" not in broken(paints, design)

    def of(leg: Any) -> Any:
        lanes = [s for s in leg.strips if s.kind == "bike_lane" and s.direction == -1]
        if not lanes or leg.circular:
            return leg
        (lane,) = lanes
        left = replace(lane, kind="travel_lane", left_ft=lane.left_ft - 9, right_ft=lane.left_ft)
        right = replace(lane, kind="travel_lane", left_ft=lane.right_ft, right_ft=lane.right_ft + 9)
        return replace(leg, strips=(left, lane, right))

    crossings = [
        replace(c, legs=tuple(of(leg) for leg in c.legs)) for c in design.intersections
    ]  # fmt: skip
    between = replace(design, intersections=tuple(crossings))
    arrows = [p for p in paints if not _only_figures(p) or p.right_ft - p.left_ft < 2.5]
    assert "BIKE-20" in broken(arrows, between)
    assert "BIKE-20" not in broken(arrows, design)


def test_narrow_flush_island_in_california() -> None:
    """CHAN-03: our contraflow buffer of 3 ft leaves 1 ft between its lines; a wide one is good."""
    paints, design = laid("facilities")
    assert "CHAN-03" in broken(paints, design)

    def apart(paint: Paint) -> Paint:
        if paint.segment is None or paint.segment.segment_id != "f" or not _yellow_lane(paint):
            return paint
        sides = [s.center_ft for s in paint.segment.strips if s.kind == "buffer"]
        out = 0.6 if paint.offset_ft > sides[0] else -0.6
        return pushed(paint, design, 0.0, out)

    assert "CHAN-03" not in broken([apart(p) for p in paints], design)
