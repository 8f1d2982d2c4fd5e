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
WHO = ("federal", "california", "washington", "missouri")


@cache
def laid(scene: str) -> tuple[tuple[Paint, ...], Design]:
    """Paints of our own layout of a scene, and its street model."""
    markings, design, _ = layout_of(SCENES[scene]())
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


_SINGLE = restroked("center_line", lambda p: [(0.0, 4 * INCH, None)])
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
            restroked("center_line", lambda p: [(-1, _THIN, None), (1, _THIN, None)]),
        ),
        ("tee", "LINE-01", restroked("center_line", lambda p: [(0.0, 9 * INCH, None)])),
        (
            "five_lane",
            "TWLTL-01",
            restroked("center_line", lambda p: [(0.0, _THIN, None)], "two_way"),
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
        ("cross", "LINE-18", restroked("lane_line", lambda p: [(0.0, 3 * INCH, None)])),
        ("five_lane", "LANE-01", gone("lane_line")),
        (
            "five_lane",
            "LANE-05",
            restroked("lane_line", lambda p: [(0.0, 6 * INCH, None)], "solid"),
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
    wide = restroked("center_line", lambda p: [(-0.5, 0.5, None), (0.5, 0.5, None)])
    wide_lanes = restroked("lane_line", lambda p: [(0.0, 0.5, None)])
    assert "LINE-17" not in broken(wide_lanes(wide(list(paints), design), design), design)
