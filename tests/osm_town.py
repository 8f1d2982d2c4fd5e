"""Small invented OpenStreetMap extracts, drawn in feet, written as .osm XML.

Places are feet from an invented spot, x east, y north. `mirrored` gives the same town where traffic
keeps to the other side: the map is turned over, and tags that say left or right follow.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import quoteattr

import pyproj

from layoutgen.gis.plane import working_plane

#: meridian and parallel of the invented spot: on the grid that working planes are centred on
LON, LAT = -41.0, 33.0
_PLACE = pyproj.Transformer.from_crs(working_plane(LON, LAT), 4326, always_xy=True)
Tags = Mapping[str, str]
XY = tuple[float, float]


@dataclass
class Extract:
    """Nodes and ways by their ids."""

    nodes: dict[int, tuple[XY, Tags]] = field(default_factory=dict)
    ways: dict[int, tuple[Sequence[int], Tags]] = field(default_factory=dict)

    def node(self, number: int, xy: XY, tags: Tags | None = None) -> None:
        self.nodes[number] = (xy, tags or {})

    def way(self, number: int, nodes: Sequence[int], tags: Tags) -> None:
        self.ways[number] = (nodes, tags)

    def write(self, path: Path) -> Path:
        """The extract as OSM XML."""
        lines = ['<osm version="0.6">']
        for number, ((x, y), tags) in sorted(self.nodes.items()):
            lon, lat = _PLACE.transform(x, y)
            place = f'id="{number}" version="1" lat="{lat:.9f}" lon="{lon:.9f}"'
            lines.append(f"<node {place}>{_xml(tags)}</node>")
        for number, (nodes, tags) in sorted(self.ways.items()):
            refs = "".join(f'<nd ref="{n}"/>' for n in nodes)
            lines.append(f'<way id="{number}" version="1">{refs}{_xml(tags)}</way>')
        path.write_text("\n".join([*lines, "</osm>"]), encoding="utf-8")
        return path

    def mirrored(self) -> Extract:
        """The town turned over, east for west."""
        nodes = {n: ((-x, y), mirrored_tags(t)) for n, ((x, y), t) in self.nodes.items()}
        ways = {n: (refs, mirrored_tags(t)) for n, (refs, t) in self.ways.items()}
        return Extract(nodes, ways)


def mirrored_tags(tags: Tags) -> dict[str, str]:
    """Tags of the same thing in a mirror: left is right, and lanes are listed the other way."""
    out = {}
    for key, value in tags.items():
        lanes = "|".join(reversed(value.split("|"))) if ":lanes" in key else value
        out[_swapped(key)] = _swapped(lanes)
    return out


def _swapped(text: str) -> str:
    swap = {"left": "right", "right": "left"}
    return re.sub("left|right", lambda m: swap[m.group()], text)


def _xml(tags: Tags) -> str:
    return "".join(f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in sorted(tags.items()))


def town() -> Extract:
    r"""An avenue in ways of all kinds, across a signal, a STOP and under a bridge.

              8 (bridge over the avenue)
              |
    1 --- 2 --+--- 3 <------ 4 --- 5      avenue, west to east; 3 to 4 one-way, drawn against it
          |   |    |
         20   9   30 (stop)
    """
    o = Extract()
    ave = {"highway": "primary", "name": "Sandbar Avenue", "maxspeed": "30 mph"}
    side = {"highway": "residential", "name": "Gannet Street"}
    for number, xy in ((1, (-900.0, 10.0)), (2, (-300.0, 0.0)), (3, (280.0, 6.0))):
        o.node(number, xy)
    o.node(4, (900.0, 30.0))
    o.node(5, (1500.0, 60.0), {"highway": "turning_circle"})
    o.node(
        10, (-345.0, 0.7), {"highway": "traffic_signals", "traffic_signals:direction": "forward"}
    )
    o.node(
        11, (10.0, 2.0), {"highway": "crossing", "crossing:markings": "zebra", "crossing": "marked"}
    )
    o.node(12, (-330.0, 0.5), {"highway": "crossing", "crossing": "traffic_signals"})
    o.way(100, [1, 10, 12, 2], {
        **ave, "lanes": "5", "lanes:forward": "3", "lanes:backward": "2", "cycleway:right": "lane",
        "turn:lanes:forward": "left|through|through;right", "parking:left": "lane", "width": "22",
    })  # fmt: skip
    o.way(101, [2, 11, 3], {**ave, "lanes": "4", "width": "16 m", "cycleway:both": "lane"})
    o.way(102, [4, 3], {
        **ave, "oneway": "-1", "lanes": "3", "turn:lanes": "left|through|through;right",
        "cycleway": "lane", "width": "14",
    })  # fmt: skip
    o.way(103, [4, 5], {**ave, "lanes": "2", "width": "36'"})
    o.node(20, (-310.0, -500.0))
    o.node(21, (-290.0, 450.0))
    o.way(110, [20, 2, 21], {**side, "width": "30 ft", "lanes": "2"})
    o.node(30, (290.0, -480.0))
    o.node(31, (281.0, -40.0), {"highway": "stop", "direction": "forward"})
    o.way(111, [30, 31, 3], {**side, "name": "Dulse Lane", "width": "9", "lanes": "2"})
    o.node(8, (-20.0, 500.0))
    o.node(9, (-30.0, -520.0))
    o.node(81, (-22.0, 120.0))
    o.node(91, (-26.0, -110.0))
    bridge = {**side, "name": "Skerry Road", "width": "8", "lanes": "2"}
    o.way(120, [8, 81], bridge)
    o.way(121, [81, 91], {**bridge, "bridge": "yes", "layer": "1"})
    o.way(122, [91, 9], bridge)
    return o
