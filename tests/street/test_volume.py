"""Traffic volume and setting of streets, from the input to the segments."""

from __future__ import annotations

from typing import Any

from scenes import Scene, design_of, layout_of


def road(*pieces: dict[str, Any], **settings: Any) -> Scene:
    """Pieces of 200 ft each, end to end, of one rural collector with a center line."""
    base = {"street_class": "collector", "name": "Heath Road", "width_ft": 30.0}
    points = [(17.0 + 190.0 * k, 23.0 + 62.0 * k) for k in range(len(pieces) + 1)]
    rows = []
    for k, piece in enumerate(pieces):
        ends = points[k : k + 2]
        (x0, y0), (x1, y1) = ends[::-1] if piece.get("turned") else ends
        at = f"LINESTRING ({x0} {y0}, {x1} {y1})"
        own = {key: v for key, v in piece.items() if key != "turned"}
        rows.append({"segment_id": f"p{k}", **base, **own, "at": at})
    return Scene(rows, settings=settings)


def test_counts_that_change_along_a_street_leave_it_one_segment() -> None:
    design, _ = design_of(road({"adt": 3900}, {"adt": 4100, "turned": True}, {}))
    (segment,) = design.segments
    assert segment.adt == 4100, "the largest count decides"


def test_where_the_setting_changes_a_street_is_parted() -> None:
    design, _ = design_of(road({"setting": "rural"}, {"setting": "urban", "turned": True}))
    assert [s.setting for s in design.segments] == ["rural", "urban"]


def test_nothing_known_is_urban_without_a_count() -> None:
    design, _ = design_of(road({}))
    (segment,) = design.segments
    assert (segment.adt, segment.setting) == (None, "urban")


def test_where_asks_for_volume_and_setting() -> None:
    cases = [{"where": {"adt": ">= 4000", "setting": "rural"}, "enabled": False}]
    rules = {"center_line": {"cases": cases}}
    for adt, setting, count in ((4000, "rural", 0), (3999, "rural", 1), (4000, "urban", 1)):
        markings, _, _ = layout_of(road({"adt": adt, "setting": setting}, rules=rules))
        assert (markings["rule"] == "center_line").sum() == count
