"""Every family of markings in the demo town: there, valid, on the roadway, the right way round."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import affinity
from test_properties import EDGE_FT, town

from layoutgen.markings.catalog import rule_catalog, standard_rows
from layoutgen.street.forks import neutral_areas

#: figures keep to this angle of their traffic: the axis bends a little along them
TURN_DEG = 12.0


@pytest.mark.parametrize("rule", rule_catalog())
def test_every_family_is_in_the_demo_town(rule: str) -> None:
    own = town().markings[town().markings["rule"] == rule]
    assert len(own), f"nothing of {rule} in configs/demo.toml"
    shapes = own.geometry.to_numpy()
    assert shapely.is_valid(shapes).all()
    assert (shapely.area(shapes) > 0.05).all()
    design = town().design
    areas = [crossing.area for crossing in design.intersections]
    ways = np.array([*design.roadways(), *areas, *neutral_areas(design)], dtype=object)
    tree = shapely.STRtree(ways)
    for shape, name in zip(shapes, own["marking_id"], strict=True):
        road = shapely.union_all(ways[tree.query(shape)]).buffer(EDGE_FT)
        assert road.covers(shape), name


def test_every_marking_names_rows_of_the_standard() -> None:
    """Each carries the rows it satisfies; a row that does not exist would satisfy nothing."""
    for name, sources in town().markings[["marking_id", "sources"]].itertuples(index=False):
        rows = [row.strip() for row in sources.split(",")]
        assert rows, name
        assert set(rows) <= set(standard_rows()), (name, sources)


def test_figures_face_their_traffic() -> None:
    """The strip a figure stands on leads its traffic where the figure points."""
    design, table = town().design, town().markings
    figures = table[table["gives"] == "whole"]
    assert len(figures) > 300
    seen = 0
    for row in figures.to_dict("records"):
        segment = design.segments[row["segment_index"]]
        offset = row["offset_ft"]
        strips = [s for s in segment.strips if s.left_ft < offset < s.right_ft and s.direction]
        if not strips:
            continue  # in a turn pocket, which only the leg knows, or in a strip of both ways
        seen += 1
        along = design.axes.directions(np.array([segment.index]), np.array([row["station_ft"]]))[0]
        heading = math.degrees(math.atan2(along[0], along[1])) + (
            0.0 if strips[0].direction == 1 else 180.0
        )
        turn = (row["bearing_deg"] - heading + 180.0) % 360.0 - 180.0
        assert abs(turn) < TURN_DEG, row["marking_id"]
    assert seen > 0.8 * len(figures)


def test_copies_of_a_figure_are_identical() -> None:
    """Turned back by their bearing and moved to one corner, all copies of a figure are one.

    Rows of triangles are no figures: they follow the skew of their curb line.
    """
    table = town().markings
    figures = table[(table["gives"] == "whole") & (table["style"] != "triangles")]
    size = figures["width_ft"].round(3), figures["area_sqft"].round(2)
    groups = figures.groupby([figures["kind"], figures["style"], *size])
    assert max(len(own) for _, own in groups) > 50
    for key, own in groups:
        copies = [undone(*pair) for pair in zip(own.geometry, own["bearing_deg"], strict=True)]
        for copy in copies[1:]:
            assert copy.hausdorff_distance(copies[0]) < 1e-4, key


def undone(shape: object, bearing_deg: float) -> shapely.Geometry:
    """A figure as it was drawn: its travel points up, its lower left corner at the origin."""
    turned = affinity.rotate(shape, bearing_deg, origin=(0.0, 0.0))
    low, left = turned.bounds[1], turned.bounds[0]
    return affinity.translate(turned, -left, -low)
