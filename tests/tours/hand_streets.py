"""Small Design objects made by hand, for tests of work and tours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from shapely.geometry import LineString

from layoutgen.geometry.polyline import Polylines
from layoutgen.street.design import Design, Segment, Strip

Row = tuple[str, str, str, dict[str, object]]


def design_of(
    nodes: Mapping[str, tuple[float, float]],
    rows: Sequence[Row],
    driving_side: str = "right",
) -> Design:
    """Design from nodes and (segment_id, start, end, changes); `via` gives points between."""
    lines, segments = [], []
    for index, (segment_id, start, end, changes) in enumerate(rows):
        values = dict(changes)
        via = values.pop("via", [])
        line = LineString([nodes[start], *via, nodes[end]])  # type: ignore[misc]
        lines.append(line)
        fields: dict[str, object] = {
            "name": f"{segment_id} Street",
            "street_class": "local",
            "oneway": "both",
            "speed_mph": 25.0,
        } | values
        strips = (Strip("travel_lane", -1, -12.0, 0.0), Strip("travel_lane", 1, 0.0, 12.0))
        segments.append(
            Segment(
                index=index,
                segment_id=segment_id,
                source_ids=(segment_id,),
                width_ft=24.0,
                width_source="attribute",
                lanes_source="attribute",
                length_ft=line.length,
                start=start,
                end=end,
                strips=strips,
                center_line="none",
                **fields,  # type: ignore[arg-type]
            )
        )
    return Design(
        tuple(segments),
        Polylines.from_lines(lines),
        dict(nodes),
        (),
        (),
        driving_side,  # type: ignore[arg-type]
    )


def lattice(side: int, spacing_ft: float = 400.0) -> Design:
    """Skewed lattice of two-way and one-way streets; every third row is an arterial.

    0,1 --- 1,1 --- 2,1      rows run east, columns north; odd columns are one-way north,
     |       |       |       column 2, 6, 10 ... one-way south
    0,0 --- 1,0 --- 2,0
    """
    nodes = {
        f"{i},{j}": (i * spacing_ft + 37.0 * j + (i * j) % 7, j * spacing_ft * 0.9 - 11.0 * i)
        for i in range(side)
        for j in range(side)
    }
    rows: list[Row] = []
    for i in range(side):
        for j in range(side):
            if i + 1 < side:
                look: dict[str, object] = (
                    {"street_class": "arterial", "speed_mph": 40.0} if j % 3 == 0 else {}
                )
                rows.append((f"E{i}-{j}", f"{i},{j}", f"{i + 1},{j}", look))
            if j + 1 < side:
                way = "both" if i % 4 == 0 else "backward" if i % 4 == 2 else "forward"
                edge = i in (0, side - 1)
                rows.append(
                    (f"N{i}-{j}", f"{i},{j}", f"{i},{j + 1}", {} if edge else {"oneway": way})
                )
    return design_of(nodes, rows)
