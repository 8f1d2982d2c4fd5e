"""Scenes of roads: one-way with shoulders, lanes that end, ramps that leave and join."""

from __future__ import annotations

from typing import Any

import shapely
from scenes import Row, Scene


def open_way(**settings: Any) -> Scene:
    """A rural two-lane road with an S curve (r1, r2); far off a one-way road that loses a lane."""
    rural = {"street_class": "arterial", "lanes": 2, "width_ft": 34.0, "speed_mph": 45.0,
             "adt": 7200, "setting": "rural"}  # fmt: skip
    bend = [(-900, 20), (-500, 60), (-150, 190), (20, 260), (260, 280), (500, 200), (900, 90)]
    road = {"street_class": "freeway", "oneway": "forward", "speed_mph": 55.0}
    rows: list[Row] = [
        {"segment_id": "r1", "name": "Curlew Road", **rural, "at": shapely.LineString(bend)},
        {"segment_id": "f1", "name": "Plover Expressway", **road, "lanes": 3, "width_ft": 52.0,
         "at": "LINESTRING (-900 -600, 20 -640)"},
        {"segment_id": "f2", "name": "Plover Expressway", **road, "lanes": 2, "width_ft": 40.0,
         "at": "LINESTRING (20 -640, 1300 -695.7)"},
    ]  # fmt: skip
    return Scene(rows, settings=settings)


def exit_ramp(**settings: Any) -> Scene:
    """A ramp leaves a one-way road to the right, another joins it farther on."""
    road = {"name": "Plover Expressway", "street_class": "freeway", "oneway": "forward",
            "lanes": 2, "width_ft": 40.0, "speed_mph": 55.0}  # fmt: skip
    ramp = {"street_class": "ramp", "oneway": "forward", "lanes": 1, "width_ft": 24.0,
            "speed_mph": 35.0}  # fmt: skip
    a, b = (30.0, 15.0), (930.0, 60.0)
    rows: list[Row] = [
        {"segment_id": "m1", **road, "at": shapely.LineString([(-700, -21.5), a])},
        {"segment_id": "m2", **road, "at": shapely.LineString([a, b])},
        {"segment_id": "m3", **road, "at": shapely.LineString([b, (1700, 98.5)])},
        {"segment_id": "x", "name": "Exit", **ramp,
         "at": shapely.LineString([a, (150, 10), (300, -8), (420, -60), (520, -190)])},
        {"segment_id": "y", "name": "Entrance", **ramp,
         "at": shapely.LineString([(560, -190), (660, -20), (780, 36), b])},
    ]  # fmt: skip
    return Scene(rows, settings=settings)


def town_way(speed_mph: float = 30.0, setting: str = "urban", **settings: Any) -> Scene:
    """A four-lane street that goes on with two lanes (t2), past a bend."""
    street = {"name": "Fulmar Street", "street_class": "arterial", "speed_mph": speed_mph,
              "setting": setting}  # fmt: skip
    rows: list[Row] = [
        {"segment_id": "t1", **street, "lanes": 4, "width_ft": 48.0,
         "at": "LINESTRING (-640 25, -250 10, 35 -40)"},
        {"segment_id": "t2", **street, "lanes": 2, "width_ft": 26.0,
         "at": "LINESTRING (35 -40, 520 -120)"},
    ]  # fmt: skip
    return Scene(rows, settings=settings)


def country_way(**settings: Any) -> Scene:
    """The same outside of town."""
    return town_way(setting="rural", **settings)


SCENES = {f.__name__: f for f in (open_way, town_way, country_way, exit_ramp)}
