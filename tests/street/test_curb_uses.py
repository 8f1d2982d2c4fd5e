"""Curb zones, driveways and hydrants find the right side of the right street, or a finding."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from scenes import SCENES, Row, design_of

from layoutgen.errors import Finding

Zone = tuple[str, str, int, int, int]


def zones_of(*rows: Row, streets: Any = None) -> tuple[list[Zone], list[Finding]]:
    """(segment, zone, side, from, to) of every zone, and the findings about the role."""
    scene = replace(SCENES["curbside"](), more={"curb_zones": rows})
    design, found = design_of(replace(scene, streets=streets or scene.streets))
    out = [
        (s.segment_id, z.zone_id, z.side, round(z.from_ft), round(z.to_ft))
        for s in design.segments
        for z in s.curb_zones
    ]
    return out, [f for f in found if f.source == "curb_zones"]


def test_a_line_at_a_corner_stays_on_its_own_street() -> None:
    """Its nearest axis at the corner is that of the street that crosses."""
    row = {"zone_id": "z", "use": "loading", "at": "LINESTRING (-60 -8, 30 1)"}
    zones, found = zones_of(row)
    assert [(s, z, side) for s, z, side, *_ in zones] == [("p1", "z", 1)]
    assert found == []


def test_a_line_beyond_an_intersection_has_a_part_on_either_street() -> None:
    row = {"zone_id": "z", "use": "bus_stop", "at": "LINESTRING (-80 -10, 200 20)"}
    zones, found = zones_of(row)
    assert [(s, side) for s, _, side, *_ in zones] == [("p1", 1), ("p2", 1)]
    assert sum(b - a for *_, a, b in zones) == pytest.approx(282, abs=3)
    assert found == []


@pytest.mark.parametrize("drawn", ["LINESTRING (-560 -38, 40 22)", "LINESTRING (40 22, -560 -38)"])
def test_side_is_told_along_the_line_as_digitised(drawn: str) -> None:
    """Also where pieces are joined and the segment runs against the line (least id leads)."""
    row = {"zone_id": "z", "use": "loading", "side": "left", "at": "POINT (-400 -22)"}
    street = {"name": "Sprat Street", "street_class": "collector", "parking": "both",
              "width_ft": 44.0}  # fmt: skip
    first = {"segment_id": "a", **street, "at": "LINESTRING (-560 -38, -900 -72)"}
    second = {"segment_id": "z", **street, "at": drawn}
    rows = [second]
    zones, _ = zones_of(row, streets=rows)
    alone = zones[0][2]
    zones, _ = zones_of(row, streets=[first, second])
    assert len(zones) == 1
    # the joined segment runs west; the side on the ground must be the same
    east = drawn.startswith("LINESTRING (-560")
    assert alone == -1
    assert zones[0][2] == (1 if east else -1)


def test_the_middle_of_a_street_is_no_side() -> None:
    zones, found = zones_of({"zone_id": "z", "use": "taxi", "at": "POINT (-400 -22)"})
    assert zones == []
    assert [(f.code, f.rows) for f in found] == [("curb_side_unknown", 1)]


def test_of_two_zones_the_stricter_stays() -> None:
    taxi = {"zone_id": "t", "use": "taxi", "at": "LINESTRING (-230 14, -180 19)"}
    fire = {"zone_id": "f", "use": "fire_lane", "at": "LINESTRING (-200 17, -150 22)"}
    inside = {"zone_id": "i", "use": "no_parking", "at": "LINESTRING (-190 18, -160 21)"}
    for rows in ((taxi, fire, inside), (inside, fire, taxi)):
        zones, found = zones_of(*rows)
        assert [z[1] for z in zones] == ["t", "f"]
        assert zones[0][4] == zones[1][3]
        assert {(f.feature_id, f.rows) for f in found} == {("t", 0), ("i", 1)}


def test_rows_far_from_every_street_are_told() -> None:
    line = {"zone_id": "l", "use": "taxi", "at": "LINESTRING (-300 200, -250 205)"}
    point = {"zone_id": "p", "use": "taxi", "at": "POINT (-300 200)"}
    none = {"zone_id": "n", "use": "taxi", "at": None}
    mute = {"zone_id": "m", "use": None, "at": "POINT (-300 6)"}
    zones, found = zones_of(line, point, none, mute)
    assert zones == []
    assert sum(f.rows for f in found) == 4
