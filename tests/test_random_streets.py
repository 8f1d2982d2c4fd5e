"""Random intersections of three to five legs: whatever the data, the paint must stay sane.

Skews down to 32 degrees, one-way streets drawn either way, odd lanes, wrong widths, both driving
sides. Numbered seeds, so that a failure can be looked at again.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from scenes import Scene, layout_of

EDGE_FT = 0.5
STYLES = ["longitudinal_bars", "ladder", "bar_pairs", "transverse_lines"]


def random_scene(seed: int) -> Scene:
    rng = np.random.default_rng(seed)
    bearings = random_bearings(rng, int(rng.integers(3, 6)))
    rows = [random_street(rng, i, b) for i, b in enumerate(bearings)]
    control = str(rng.choice(["signal", "all_way_stop", "stop"]))
    settings = {
        "project": {"driving_side": str(rng.choice(["right", "left"]))},
        "rules": {
            "crosswalk": {"at": ["every_leg"], "style": str(rng.choice(STYLES))},
            "turn_arrow": {"lanes": "all"},
        },
        "controls": {"infer": "class"},
    }
    return Scene(rows, [{"control": control, "at": "POINT (18 18)"}], settings=settings)


def random_bearings(rng: np.random.Generator, count: int) -> np.ndarray[Any, Any]:
    """Legs at least 32 degrees apart."""
    while True:
        out = np.sort(rng.uniform(0, 360, count))
        if np.diff(np.append(out, out[0] + 360)).min() > 32:
            return out


def random_street(rng: np.random.Generator, number: int, bearing: float) -> dict[str, Any]:
    t, length = math.radians(bearing), float(rng.uniform(90, 420))
    points = [(0.0, 0.0), (length * math.sin(t), length * math.cos(t))]
    line = shapely.LineString(points if rng.random() < 0.5 else points[::-1])
    kind = str(rng.choice(["arterial", "collector", "local"]))
    row: dict[str, Any] = {"segment_id": f"s{number}", "street_class": kind, "at": line}
    some = {
        "oneway": (0.3, lambda: str(rng.choice(["forward", "backward"]))),
        "lanes": (0.7, lambda: int(rng.integers(1, 6))),
        "width_ft": (0.6, lambda: float(rng.uniform(18, 80))),
        "parking": (0.3, lambda: str(rng.choice(["left", "right", "both"]))),
        "bike_lane": (0.4, lambda: str(rng.choice(["left", "right", "both"]))),
    }
    row |= {key: draw() for key, (chance, draw) in some.items() if rng.random() < chance}
    if rng.random() < 0.2 and "oneway" not in row:
        row |= {"center_turn_lane": True, "lanes": int(rng.choice([3, 5]))}
    return row


@pytest.mark.parametrize("start", range(0, 100, 10))
def test_random_intersections(start: int) -> None:
    for seed in range(start, start + 10):
        markings, design, _ = layout_of(random_scene(seed))
        shapes = markings.geometry.to_numpy()
        assert shapely.is_valid(shapes).all(), seed
        areas = [crossing.area for crossing in design.intersections]
        pavement = shapely.union_all([*design.roadways(), *areas]).buffer(EDGE_FT)
        off = markings["marking_id"][~shapely.covered_by(shapes, pavement)]
        assert not len(off), (seed, off.tolist())
        assert overlap(markings) < 0.03, seed
        assert_apart(markings, seed)


def overlap(markings: Any) -> float:
    """Largest area that two markings of one color share."""
    shapes, color = markings.geometry.to_numpy(), markings["color"].to_numpy()
    a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    once = (a < b) & (color[a] == color[b])
    shared = shapely.area(shapely.intersection(shapes[a[once]], shapes[b[once]]))
    return float(shared.max(initial=0.0))


def assert_apart(markings: Any, seed: int) -> None:
    """STOP-02 on the own leg; no stop line under the crosswalk of another."""
    walks = markings[markings["kind"] == "crosswalk"].set_index("anchor").geometry
    for row in markings[markings["kind"] == "stop_line"].to_dict("records"):
        for anchor, walk in walks.items():
            least = 4.0 - 1e-6 if anchor == row["anchor"] else 1e-6
            assert walk.distance(row["geometry"]) >= least, (seed, row["marking_id"], anchor)
