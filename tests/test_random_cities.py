"""Random intersections with their streets, in cities of 250, with random settings.

Three thousand in every run; ten thousand with `LAYOUTGEN_CITIES=40`, as before a release.

Skews, widths, lanes, turn lanes, bike facilities, crossings, rail, humps, schools, and every rule
with whatever its settings allow: no invalid polygon, no paint over paint of its layer, nothing off
the pavement, nothing in an intersection area but what belongs there.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Mapping
from typing import Any, get_args, get_origin

import geopandas as gpd
import numpy as np
import shapely
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from scenes import Scene, layout_of
from shapely.affinity import translate
from test_random_streets import EDGE_FT, random_bearings, random_street

from layoutgen.markings.catalog import rule_catalog
from layoutgen.markings.marking import GROUNDS, RuleParams
from layoutgen.street.design import Design

INTERSECTIONS = 250
CITIES = int(os.environ.get("LAYOUTGEN_CITIES", "12"))
#: the arms are at most 420 ft long
PITCH_FT = 1200.0
PER_ROW = 20
Row = dict[str, Any]
#: how much more than the engine's touch two markings may share (sq ft)
SHARED_SQFT = 0.03
#: the edge of an intersection area runs straight from corner to corner, past what bulges a little
CORNER_SQFT = 1.0


def random_city(seed: int) -> Scene:
    """A grid of intersections that do not meet, each on its own."""
    rng = np.random.default_rng(seed)
    tables: dict[str, list[Row]] = {}
    for number in range(INTERSECTIONS):
        shift = PITCH_FT * (number % PER_ROW), PITCH_FT * (number // PER_ROW)
        for role, row in random_rows(rng, number):
            tables.setdefault(role, []).append({**row, "at": translate(row["at"], *shift)})
    named = {"streets", "controls", "schools", "crossing_points", "bike_facilities", "parking"}
    more = {role: rows for role, rows in tables.items() if role not in named}
    own = {role: rows for role, rows in tables.items() if role in named}
    return Scene(**own, more=more, settings=random_settings(rng))


def random_rows(rng: np.random.Generator, number: int) -> Iterator[tuple[str, Row]]:
    """(role, row) of everything at one intersection, whose node is the origin."""
    for k, bearing in enumerate(random_bearings(rng, int(rng.integers(3, 6)))):
        street = random_street(rng, k, bearing)
        street["segment_id"] = f"{number}-{k}"
        street["speed_mph"] = float(rng.choice([20, 25, 30, 35, 40, 45, 55]))
        yield "streets", street | random_turns(rng)
        yield from beside(rng, street)
    control = str(rng.choice(["signal", "all_way_stop", "stop", "yield"]))
    yield "controls", {"control": control, "at": shapely.Point(18, 18)}
    if rng.random() < 0.2:
        yield "schools", {"school_id": f"h{number}", "at": shapely.Point(rng.uniform(60, 200), 70)}


def random_turns(rng: np.random.Generator) -> Row:
    """What its lanes are for, on a third of the streets."""
    words = ["left", "through", "right", "through;right", "left;through"]
    if rng.random() > 0.35:
        return {}
    count = int(rng.integers(1, 4))
    told = "|".join(str(rng.choice(words)) for _ in range(count))
    return {"turn_lanes_forward": told, "turn_lanes_backward": told}


def beside(rng: np.random.Generator, street: Row) -> Iterator[tuple[str, Row]]:
    """Things on a street: each on some of them, at a random place."""
    line, name = street["at"], street["segment_id"]

    def spot() -> Any:
        return line.interpolate(rng.uniform(0.15, 0.95), normalized=True)

    facilities = ["lane", "buffered", "separated", "shared", "contraflow"]
    if rng.random() < 0.3:
        facility = {"facility": str(rng.choice(facilities)), "side": "both"}
        yield "bike_facilities", {"facility_id": f"f{name}", **facility, "at": line}
    if rng.random() < 0.15:
        kind = str(rng.choice(["parallel", "angle"]))
        yield "parking", {"parking_id": f"p{name}", "kind": kind, "side": "both", "at": line}
    if rng.random() < 0.2:
        point = {"markings": "marked", "control": str(rng.choice(["signal", "none"]))}
        yield "crossing_points", {"crossing_id": f"c{name}", **point, "at": spot()}
    if rng.random() < 0.1:
        rail = {"tracks": int(rng.integers(1, 3)), "control": "gates"}
        yield "rail_crossings", {"crossing_id": f"r{name}", **rail, "at": spot()}
    if rng.random() < 0.1:
        hump = {"kind": str(rng.choice(["hump", "table", "cushion"])), "length_ft": 12.0}
        yield "speed_humps", {"hump_id": f"s{name}", **hump, "at": spot()}


def random_settings(rng: np.random.Generator) -> Mapping[str, Any]:
    """Every rule on, its choices at random, its measures mostly as shipped."""
    return {
        "project": {"driving_side": str(rng.choice(["right", "left"]))},
        "controls": {"infer": "class"},
        "rules": {name: random_rule(rng, rule.params) for name, rule in rule_catalog().items()},
    }


def random_rule(rng: np.random.Generator, params: type[RuleParams]) -> Row:
    """Choices of a rule drawn from what its settings allow."""
    out: Row = {}
    for name, field in params.model_fields.items():
        value = random_value(rng, field.annotation)
        if value is not None and name != "enabled" and rng.random() < 0.6:
            out[str(field.alias or name)] = value
    return out


def random_value(rng: np.random.Generator, kind: Any) -> Any:
    """A yes or no, a word, or several words; None for anything else."""
    if kind is bool:
        return bool(rng.random() < 0.5)
    words = [a for a in get_args(kind) if isinstance(a, str)]
    if words:
        return str(rng.choice(words))
    if get_origin(kind) is tuple:
        words = [str(w) for inner in get_args(kind) for w in get_args(inner)]
        return [w for w in words if rng.random() < 0.7] if words else None
    return None


def cell_of(shapes: Any) -> Any:
    """Number of the intersection whose cell of the grid a shape lies in."""
    xy = np.round(shapely.get_coordinates(shapely.centroid(shapes)) / PITCH_FT)
    return (xy[:, 1] * PER_ROW + xy[:, 0]).astype(int)


def pavements(design: Design) -> tuple[Any, Any]:
    """(whole pavement, intersection area) of every cell."""
    ways = design.roadways()
    areas = np.array([c.area for c in design.intersections], dtype=object)
    both = np.concatenate([ways, areas])
    cells = cell_of(both)
    whole = {c: shapely.union_all(both[cells == c]).buffer(EDGE_FT) for c in set(cells.tolist())}
    inside = dict(zip(cell_of(areas).tolist(), areas, strict=True))
    return whole, inside


def faults(markings: gpd.GeoDataFrame, design: Design) -> list[str]:
    """Everything wrong with a layout."""
    shapes = markings.geometry.to_numpy()
    ids, rules = markings["marking_id"].to_numpy(), markings["rule"].to_numpy()
    out = [f"invalid: {i}" for i in ids[~shapely.is_valid(shapes)]]
    out += [f"empty: {i}" for i in ids[shapely.area(shapes) < 1e-3]]
    whole, inside = pavements(design)
    cells = cell_of(shapes).tolist()
    road = np.array([whole[c] for c in cells], dtype=object)
    area = np.array([inside.get(c, shapely.Polygon()) for c in cells], dtype=object)
    out += [f"off the pavement: {i}" for i in ids[~shapely.covered_by(shapes, road)]]
    shared = shapely.area(shapely.intersection(shapes, area))
    belongs = np.array([rule_catalog()[r].inside for r in rules])
    out += [f"in the intersection: {i}" for i in ids[(shared > CORNER_SQFT) & ~belongs]]
    ground = markings["color"].isin(GROUNDS).to_numpy()
    a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    once = (a < b) & (ground[a] == ground[b])
    a, b = a[once], b[once]
    over = shapely.area(shapely.intersection(shapes[a], shapes[b])) > SHARED_SQFT
    return out + [
        f"over one another: {ids[i]}, {ids[j]}" for i, j in zip(a[over], b[over], strict=True)
    ]


@settings(
    max_examples=CITIES,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
@example(253)  # an arrow moved off rails into the intersection, once
@given(st.integers(0, 2**32 - 1))
def test_thousands_of_random_intersections(seed: int) -> None:
    markings, design, _ = layout_of(random_city(seed))
    assert len(design.intersections) >= INTERSECTIONS * 0.9
    assert math.isfinite(markings["area_sqft"].sum())
    found = faults(markings, design)
    assert not found, (seed, len(found), found[:5])
