"""Agency variants over the demo town: each differs where its state does and breaks no shall row."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import geopandas as gpd
import pytest
from scenes import layout_from
from test_properties import DEMO, town

from layoutgen.markings.audit import audit
from layoutgen.markings.paints import paints_of
from layoutgen.settings import Project, load_project
from layoutgen.street.design import Design

CONFIGS = DEMO.parent
#: variant -> rule, style (empty = any), what is measured, what it must give
DIFFERENT: Mapping[str, tuple[tuple[str, str, str, Any], ...]] = {
    "california": (
        ("school", "", "style", {"SCHOOL"}),  # SCHOOL-02: never over two lanes
        ("crosswalk", "ladder", "color", {"yellow"}),  # SCHOOL-05
        ("lane_line", "broken", "width_ft", {0.5}),  # LINE-17
        ("buffer", "", "width_ft", {0.5}),  # BUFFER-08
    ),
    "washington": (
        ("midblock_crosswalk", "solid", "kind", {"stop_line"}),  # STOP-11
        ("midblock_crosswalk", "triangles", "kind", set()),  # STOP-11
        ("stop_line", "", "kind", {"stop_line"}),
    ),
    "missouri": (
        ("midblock_crosswalk", "longitudinal_bars", "kind", {"crosswalk"}),
        ("dotted_extension", "edge_line", "color", {"white", "yellow"}),  # LINE-21
        ("crosswalk", "longitudinal_bars", "color", {"white"}),
    ),
}


@cache
def laid(name: str) -> tuple[Project, gpd.GeoDataFrame, Design]:
    """The demo town with a variant under its own settings."""
    text = DEMO.read_text(encoding="utf-8").replace(
        'extends = "us_base.toml"', f'extends = "{name}.toml"'
    )
    path = CONFIGS / f".{name}_demo.toml"
    path.write_text(text, encoding="utf-8")
    try:
        own = load_project(path)
    finally:
        path.unlink()
    markings, design, _ = layout_from(town().tables, own)
    return own, markings, design


@pytest.mark.parametrize("name", DIFFERENT)
def test_a_variant_differs_where_its_state_does(name: str) -> None:
    _, markings, _ = laid(name)
    for rule, style, column, wanted in DIFFERENT[name]:
        own = markings[(markings["rule"] == rule)]
        own = own[own["style"] == style] if style else own
        got = {round(v, 3) if isinstance(v, float) else v for v in own[column]}
        assert got == wanted if not style or column != "color" else got <= wanted, (rule, column)
    base = town().markings
    keys = ["marking_id", "style", "color", "area_sqft"]
    a = {tuple(r) for r in base[keys].round(2).itertuples(index=False)}
    b = {tuple(r) for r in markings[keys].round(2).itertuples(index=False)}
    assert len(a ^ b) > 20


def test_crosswalk_bars_follow_the_lane_in_missouri() -> None:
    """XWALK-31: bars as wide as 30, 33 or 36 in; the federal ones are 24 in at most."""
    _, markings, _ = laid("missouri")
    own = markings[(markings["kind"] == "crosswalk") & (markings["style"] == "longitudinal_bars")]
    widths = {round(p.area / 10.0, 2) for shape in own.geometry for p in shape.geoms}
    assert {2.5, 2.75, 3.0} & widths


def test_stop_lines_stand_farther_back_in_washington() -> None:
    """STOP-09: more than the federal least of 4 ft."""
    _, markings, design = laid("washington")
    walks = markings[markings["rule"] == "crosswalk"].set_index("anchor").geometry
    stops = markings[(markings["rule"] == "stop_line") & markings["anchor"].isin(walks.index)]
    gaps = [walks[a].distance(g) for a, g in zip(stops["anchor"], stops.geometry, strict=True)]
    assert min(gaps) > 5.9
    assert design.driving_side == "right"


@pytest.mark.parametrize("name", DIFFERENT)
def test_its_own_layout_breaks_no_shall_row_of_its_state(name: str) -> None:
    own, markings, design = laid(name)
    table = markings[["marking_id", "kind", "style", "color", "bearing_deg", "geometry"]]
    paints, _ = paints_of(table.assign(width_ft=None), design, 150.0)
    found = audit(paints, design, own.settings.audit).findings
    errors = {(f.code, f.feature_id) for f in found if f.severity == "error"}
    assert not errors
