"""Invariants: what is done to the town must be done to its layout, and nothing else may matter.

The whole demo town is moved, rotated, mirrored, turned round, shuffled; its layout must follow.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from scenes import layout_from
from shapely import affinity

from layoutgen.gis.read import read_inputs
from layoutgen.settings import Project, load_project
from layoutgen.street.design import Design
from layoutgen.street.forks import neutral_areas

DEMO = Path(__file__).parents[1] / "configs" / "demo.toml"
#: how far a drawing may be from where the motion puts it; far below the 0.1 ft of TOL-03
TOLERANCE_FT = 0.02
#: how far a marking may leave the pavement: straight bars on curved streets do so by inches
EDGE_FT = 0.5
Tables = Mapping[str, gpd.GeoDataFrame]
SWAP = {"left": "right", "right": "left"}


@dataclass(frozen=True)
class Town:
    tables: Tables
    own: Project
    markings: gpd.GeoDataFrame
    design: Design


@cache
def town() -> Town:
    own = load_project(DEMO)
    inputs, _ = read_inputs(own.settings.inputs)
    markings, design, _ = layout_from(inputs.tables, own)
    return Town(inputs.tables, own, markings, design)


def moved(tables: Tables, move: Callable[[Any], Any], turn: Callable[[Any], Any]) -> Tables:
    """Tables with every geometry, and every bearing of controls and legends, moved."""
    out = {}
    for name, table in tables.items():
        shapes = [None if g is None else move(g) for g in table.geometry]
        out[name] = gpd.GeoDataFrame(table.drop(columns="geometry"), geometry=shapes, crs=table.crs)
    for name in {"controls", "legends"} & set(out):
        bearings = [None if b is None or b != b else turn(b) for b in out[name]["bearing_deg"]]
        out[name]["bearing_deg"] = pd.Series(bearings, dtype=object)
    return out


def places(markings: gpd.GeoDataFrame) -> np.ndarray[Any, Any]:
    """Center of gravity of every marking."""
    return shapely.get_coordinates(shapely.centroid(markings.geometry.to_numpy()))


def anchors(markings: gpd.GeoDataFrame, design: Design) -> np.ndarray[Any, Any]:
    """As `places`, but the anchor of figures: letters keep their shape in a mirrored town."""
    out = places(markings)
    figure = (
        ~markings["is_line"].to_numpy(dtype=bool)
        & ~markings["kind"].isin(["stop_line", "crosswalk", "keep_clear"]).to_numpy()
    )
    rows = markings[figure]
    out[figure] = design.axes.locate(
        rows["segment_index"].to_numpy(),
        rows["station_ft"].to_numpy(),
        rows["offset_ft"].to_numpy(),
    )
    return out


def assert_same_places(
    got: gpd.GeoDataFrame,
    where: np.ndarray[Any, Any],
    expected: np.ndarray[Any, Any],
    base: gpd.GeoDataFrame,
) -> None:
    """Every marking stands where the base layout says, with kind, color and area."""
    assert len(got) == len(base)
    for key, rows in base.groupby(["kind", "color"]).groups.items():
        own = got.groupby(["kind", "color"]).groups[key]
        near, which = shapely.STRtree(shapely.points(where[own])).query_nearest(
            shapely.points(expected[rows]), return_distance=False, all_matches=False
        )
        assert sorted(which.tolist()) == list(range(len(own))), key
        gap = np.hypot(*(where[own][which] - expected[rows][near]).T)
        assert gap.max() < TOLERANCE_FT, (key, gap.max())
        area = got["area_sqft"].to_numpy()[own][which] - base["area_sqft"].to_numpy()[rows][near]
        assert np.abs(area).max() < 0.1, key


def test_moving_the_town_moves_the_layout() -> None:
    base = town()
    tables = moved(base.tables, lambda g: affinity.translate(g, 731.4, -288.9), lambda b: b)
    got, _, _ = layout_from(tables, base.own)
    assert_same_places(
        got, places(got), places(base.markings) + np.array([731.4, -288.9]), base.markings
    )


@pytest.mark.parametrize("angle", [90.0, 143.7])
def test_rotating_the_town_rotates_the_layout(angle: float) -> None:
    base = town()
    tables = moved(
        base.tables,
        lambda g: affinity.rotate(g, angle, origin=(0, 0)),
        lambda b: (float(b) - angle) % 360.0,
    )
    got, _, _ = layout_from(tables, base.own)
    t = np.radians(angle)
    turn = np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])
    assert_same_places(got, places(got), places(base.markings) @ turn, base.markings)


def test_mirrored_town_with_traffic_on_the_left_mirrors_the_layout() -> None:
    base = town()
    tables = moved(
        base.tables,
        lambda g: affinity.scale(g, -1.0, 1.0, origin=(0, 0)),
        lambda b: (360.0 - float(b)) % 360.0,
    )
    streets = tables["streets"]
    for side in ("parking", "bike_lane"):
        streets[side] = streets[side].map(lambda v: SWAP.get(v, v)).astype(object)
    for way in ("turn_lanes_forward", "turn_lanes_backward"):
        streets[way] = pd.Series([_mirror_lanes(v) for v in streets[way]], dtype=object)
    for role in ("parking", "bike_facilities"):
        tables[role]["side"] = tables[role]["side"].map(lambda v: SWAP.get(v, v)).astype(object)
    streets["lane_use_left"], streets["lane_use_right"] = (
        streets["lane_use_right"].copy(),
        streets["lane_use_left"].copy(),
    )
    project = base.own.settings.project.model_copy(update={"driving_side": "left"})
    settings = base.own.settings.model_copy(update={"project": project})
    own = Project(base.own.path, settings, base.own.rules, "")
    got, design, _ = layout_from(tables, own)
    expected = anchors(base.markings, base.design) * np.array([-1.0, 1.0])
    assert_same_places(got, anchors(got, design), expected, base.markings)


def test_digitised_direction_does_not_matter() -> None:
    base = town()
    streets = base.tables["streets"].copy()
    turn = np.arange(len(streets)) % 3 != 0
    flipped = streets.copy()
    flipped["geometry"] = shapely.reverse(streets.geometry.to_numpy())
    for a, b in (
        ("lanes_forward", "lanes_backward"),
        ("turn_lanes_forward", "turn_lanes_backward"),
        ("level_from", "level_to"),
        ("lane_use_left", "lane_use_right"),
    ):
        flipped[a], flipped[b] = streets[b], streets[a]
    for side in ("parking", "bike_lane"):
        flipped[side] = streets[side].map(lambda v: SWAP.get(v, v)).astype(object)
    way = {"forward": "backward", "backward": "forward"}
    flipped["oneway"] = streets["oneway"].map(lambda v: way.get(v, v)).astype(object)
    mixed = pd.concat([streets[~turn], flipped[turn]], ignore_index=True)
    got, _, _ = layout_from({**base.tables, "streets": mixed}, base.own)
    assert_same_places(got, places(got), places(base.markings), base.markings)
    assert got["marking_id"].tolist() == base.markings["marking_id"].tolist()


def test_row_order_does_not_matter() -> None:
    base = town()
    shuffled = {
        name: table.sample(frac=1.0, random_state=7).reset_index(drop=True)
        for name, table in base.tables.items()
    }
    got, _, _ = layout_from(shuffled, base.own)
    assert got["marking_id"].tolist() == base.markings["marking_id"].tolist()
    assert shapely.equals_exact(
        got.geometry.to_numpy(), base.markings.geometry.to_numpy(), 1e-6
    ).all()


def test_file_in_metres_and_in_survey_feet_gives_the_same_layout(tmp_path: Path) -> None:
    base = town()
    source = gpd.read_file(base.own.settings.inputs["streets"].source)
    source.to_crs(32618).to_file(tmp_path / "metres.gpkg")
    spec = base.own.settings.inputs["streets"].model_copy(
        update={"source": str(tmp_path / "metres.gpkg")}
    )
    inputs, _ = read_inputs({**base.own.settings.inputs, "streets": spec})
    got, _, _ = layout_from(inputs.tables, base.own)
    assert got["marking_id"].tolist() == base.markings["marking_id"].tolist()
    got = got.set_crs(inputs.plane).to_crs(base.tables["streets"].crs)
    assert np.abs(places(got) - places(base.markings)).max() < TOLERANCE_FT


def test_every_polygon_is_valid_and_on_the_pavement() -> None:
    base = town()
    shapes = base.markings.geometry.to_numpy()
    assert shapely.is_valid(shapes).all()
    assert (shapely.area(shapes) > 0.05).all()
    pavement = pavement_of(base.design).buffer(EDGE_FT)
    off = ~shapely.covered_by(shapes, pavement)
    assert not off.any(), base.markings["marking_id"][off].tolist()


def test_nothing_of_one_color_is_painted_twice() -> None:
    markings = town().markings
    shapes = markings.geometry.to_numpy()
    a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    color = markings["color"].to_numpy()
    once = (a < b) & (color[a] == color[b])
    shared = shapely.area(shapely.intersection(shapes[a[once]], shapes[b[once]]))
    assert shared.size == 0 or shared.max() < 0.03


def test_two_runs_give_the_same_bytes_of_geometry() -> None:
    base = town()
    got, _, _ = layout_from(base.tables, base.own)
    assert (shapely.to_wkb(got.geometry) == shapely.to_wkb(base.markings.geometry)).all()


def pavement_of(design: Design) -> Any:
    """Union of all roadways and intersection areas."""
    return shapely.union_all(
        [*design.roadways(), *(c.area for c in design.intersections), *neutral_areas(design)]
    )


def _mirror_lanes(text: str | None) -> str | None:
    if not isinstance(text, str):
        return None
    swap = str.maketrans({"L": "R", "R": "L"})
    coded = text.replace("left", "L").replace("right", "R").translate(swap)
    lanes = coded.replace("L", "left").replace("R", "right").split("|")
    return "|".join(reversed(lanes))
