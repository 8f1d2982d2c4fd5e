"""Tables joined to the streets by id: what counts, what is told, and that no row vanishes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pytest
from scenes import Scene, design_of, layout_of, tee

from layoutgen.errors import Finding
from layoutgen.street.design import Segment

Row = Mapping[str, Any]


def road(more: Mapping[str, Sequence[Row]], **street: Any) -> Scene:
    """One collector of 700 ft, id 12, digitised from east to west.

    12 o-----------------------o   <- first point at the right end
    """
    row = {"segment_id": "12", "name": "Withy Road", "street_class": "collector"}
    return Scene([row | {"at": "LINESTRING (700 40, 5 -12)"} | street], more=more)


def built(more: Mapping[str, Sequence[Row]], **street: Any) -> tuple[Segment, list[Finding]]:
    design, found = design_of(road(more, **street))
    return design.segments[0], [f for f in found if f.source in more]


def lanes_of(segment: Segment) -> tuple[int, int]:
    """Lanes along and against the street line."""
    return len(segment.lanes(1)), len(segment.lanes(-1))


def test_table_fills_what_the_street_does_not_say() -> None:
    more = {
        "width": [{"segment_id": "12", "width_ft": 41.0}],
        "speed": [{"segment_id": "12", "speed_mph": 45.0}],
        "lanes": [{"segment_id": "12", "lanes_forward": 2, "lanes_backward": 1}],
    }
    segment, found = built(more)
    assert (segment.width_ft, segment.width_source) == (41.0, "table")
    assert (segment.speed_mph, segment.speed_source) == (45.0, "table")
    assert (lanes_of(segment), segment.lanes_source) == ((2, 1), "table")
    assert not found


@pytest.mark.parametrize("own", ["12", "12.0", " 12 ", "12.00", 12, 12.0])
@pytest.mark.parametrize("street", ["12", "12.0"])
def test_ids_that_mean_the_same_number_are_one(own: Any, street: str) -> None:
    more = {"width": [{"segment_id": own, "width_ft": 41.0}]}
    segment, found = built(more, segment_id=street)
    assert segment.width_source == "table"
    assert not found


@pytest.mark.parametrize("own", ["012", "12a", "1 2", "12.5", "-12"])
def test_other_ids_are_others(own: str) -> None:
    segment, found = built({"width": [{"segment_id": own, "width_ft": 41.0}]})
    assert segment.width_source == "class default"
    assert [(f.code, f.rows) for f in found] == [("join_unknown_id", 1)]
    assert own in found[0].text


def test_table_wins_over_the_street_and_the_contradiction_is_counted() -> None:
    segment, found = built({"width": [{"segment_id": "12", "width_ft": 41.0}]}, width_ft=38.0)
    assert (segment.width_ft, segment.width_source) == (41.0, "table")
    assert [(f.code, f.rows) for f in found] == [("table_and_street_differ", 0)]
    assert "width of 1 streets differs" in found[0].text
    _, found = built({"width": [{"segment_id": "12", "width_ft": 38.02}]}, width_ft=38.0)
    assert not found


def test_an_empty_cell_of_the_table_changes_nothing() -> None:
    more = {"lanes": [{"segment_id": "12", "lanes": None, "center_turn_lane": True}]}
    segment, found = built(more, lanes=5, width_ft=62.0)
    assert (lanes_of(segment), segment.lanes_source) == ((2, 2), "attribute")
    assert segment.has("center_turn_lane")
    assert not found


@pytest.mark.parametrize(
    ("table", "street", "wanted", "told"),
    [
        ({"lanes": 4}, {"lanes_forward": 1, "lanes_backward": 1}, (2, 2), True),
        ({"lanes": 2}, {"lanes_forward": 1, "lanes_backward": 1}, (1, 1), False),
        ({"lanes_forward": 3, "lanes_backward": 2}, {"lanes": 2}, (3, 2), True),
        ({"lanes_forward": 3}, {"lanes_backward": 2}, (3, 2), False),
        ({"lanes_forward": 3}, {"lanes": 6}, (3, 3), False),
        ({"lanes_forward": 3}, {"lanes": 3}, (3, 1), True),
        ({"lanes_forward": 3}, {"lanes": 4, "center_turn_lane": True}, (3, 1), True),
        ({"lanes_forward": 3}, {"lanes": 5, "center_turn_lane": True}, (3, 1), False),
        ({"lanes_forward": 3}, {"oneway": "forward", "lanes": 2}, (3, 0), True),
        ({"lanes_forward": 2}, {"oneway": "forward", "lanes": 2}, (2, 0), False),
        ({"lanes": 3}, {"oneway": "backward", "lanes_backward": 2}, (0, 3), True),
        ({"lanes_forward": 3}, {"lanes": 2, "lanes_forward": 1, "lanes_backward": 1}, (3, 1), True),
    ],
)
def test_lane_counts_of_the_table_displace_those_of_the_street(
    table: Row, street: Row, wanted: tuple[int, int], told: bool
) -> None:
    segment, found = built({"lanes": [{"segment_id": "12", **table}]}, **street)
    assert (lanes_of(segment), segment.lanes_source) == (wanted, "table")
    assert bool(found) == told


def test_turn_lanes_of_the_table_count_where_nothing_else_does() -> None:
    more = {"lanes": [{"segment_id": "12", "turn_lanes_forward": "left|through|right"}]}
    segment, _ = built(more)
    assert (lanes_of(segment), segment.lanes_source) == ((3, 1), "table")
    assert segment.turn_lanes[1] == (("left",), ("through",), ("right",))
    segment, _ = built(more, lanes_forward=3, lanes_backward=2)
    assert (lanes_of(segment), segment.lanes_source) == ((3, 2), "attribute")


def test_forward_is_along_the_street_line() -> None:
    """Reversed line with the table's directions swapped: the same lanes on the same ground."""
    scene = road({"lanes": [{"segment_id": "12", "lanes_forward": 3, "lanes_backward": 1}]})
    turned = road({"lanes": [{"segment_id": "12", "lanes_forward": 1, "lanes_backward": 3}]})
    line = {"at": "LINESTRING (5 -12, 700 40)"}
    turned = replace(turned, streets=[{**turned.streets[0], **line}])
    one, _, _ = layout_of(scene)
    other, _, _ = layout_of(turned)
    assert len(one) > 2
    assert sorted(one["marking_id"]) == sorted(other["marking_id"])
    for got, wanted in zip(other.geometry, one.geometry, strict=True):
        assert got.symmetric_difference(wanted).area < 0.01


ODD_ROWS: list[Row] = [
    {"segment_id": "m1", "width_ft": 40.0},
    {"segment_id": "m1 ", "width_ft": 40.0},  # the same again
    {"segment_id": "m2", "width_ft": 40.0},
    {"segment_id": "m2", "width_ft": 44.0},  # contradicts the row before
    {"segment_id": "s", "width_ft": None},
    {"segment_id": None, "width_ft": 30.0},
    {"segment_id": "  ", "width_ft": 30.0},
    {"segment_id": "gone", "width_ft": 30.0},
    {"segment_id": "gone", "width_ft": 31.0},
]


def test_every_row_is_used_or_told() -> None:
    design, found = design_of(replace(tee(), more={"width": ODD_ROWS}))
    told = {f.code: f.rows for f in found if f.source == "width"}
    assert told == {
        "join_duplicate_id": 1,
        "join_contradiction": 2,
        "join_no_value": 1,
        "join_no_id": 2,
        "join_unknown_id": 2,
        "table_and_street_differ": 0,
    }
    used = [s.segment_id for s in design.segments if s.width_source == "table"]
    assert len(ODD_ROWS) == sum(told.values()) + len(used)
    assert used == ["m1"]


def test_order_of_rows_does_not_matter() -> None:
    told = []
    for rows in (ODD_ROWS, ODD_ROWS[::-1], ODD_ROWS[4:] + ODD_ROWS[:4]):
        design, found = design_of(replace(tee(), more={"width": rows}))
        widths = [(s.segment_id, s.width_ft, s.width_source) for s in design.segments]
        told.append((widths, [(f.code, f.text) for f in found if f.source == "width"]))
    assert told[0] == told[1] == told[2]


def test_every_line_of_one_id_gets_the_row() -> None:
    street = {"name": "Withy Road", "street_class": "collector", "segment_id": "12"}
    rows = [
        street | {"at": "LINESTRING (0 0, 400 10)"},
        street | {"at": "LINESTRING (0 300, 410 330)"},
    ]
    more = {"speed": [{"segment_id": "12", "speed_mph": 45.0}]}
    design, _ = design_of(Scene(rows, more=more))
    assert [s.speed_source for s in design.segments] == ["table", "table"]


def test_a_block_tells_the_weakest_source_of_its_pieces() -> None:
    """Two pieces of one width, one of them by its own attribute, are one block."""
    street = {"name": "Withy Road", "street_class": "collector", "width_ft": 40.0}
    rows = [
        {**street, "segment_id": "1", "at": "LINESTRING (0 0, 400 10)"},
        {**street, "segment_id": "2", "at": "LINESTRING (400 10, 830 0)"},
    ]
    one = [{"segment_id": "1", "width_ft": 40.0}]
    both = [*one, {"segment_id": "2", "width_ft": 40.0}]
    for table, told in ((one, "attribute"), (both, "table")):
        design, _ = design_of(Scene(rows, more={"width": table}))
        assert [s.width_source for s in design.segments] == [told]
    for table in ([{"segment_id": "1", "width_ft": 41.0}],):
        design, _ = design_of(Scene(rows, more={"width": table}))
        assert [s.width_source for s in design.segments] == ["table", "attribute"]
