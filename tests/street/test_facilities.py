"""Bike facilities and parking of layers of their own find their street, side and stretch.

Drawn scenes; lengths and sides are worked out by hand beside each.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from scenes import Scene, design_of, layout_of, project
from shapely import affinity

from layoutgen.errors import Finding
from layoutgen.gis.clean import clean_streets
from layoutgen.settings import street_params
from layoutgen.street.cross_section import strips_text
from layoutgen.street.design import Design, Segment
from layoutgen.street.facilities import bike_claims
from layoutgen.street.network import build_network
from layoutgen.street.overlap import MATCHED, street_name
from layoutgen.street.stretches import with_claims

STREET = {"name": "Gull Street", "street_class": "collector", "width_ft": 44.0, "lanes": 2}
SWAP = {"left": "right", "right": "left", "forward": "backward", "backward": "forward"}


def street(segment_id: str, at: str, **more: Any) -> dict[str, Any]:
    return {"segment_id": segment_id, **STREET, **more, "at": at}


def lane(facility_id: str, at: str, **more: Any) -> dict[str, Any]:
    told = {"facility": "lane", "side": "one", **more}
    return {"facility_id": facility_id, **told, "at": at}


def built(
    streets: list[Any], bikes: list[Any], parking: list[Any] | None = None, **settings: Any
) -> tuple[dict[str, Segment], Design, list[Finding]]:
    scene = Scene(streets, bike_facilities=bikes, parking=parking or [], settings=settings)
    design, found = design_of(scene)
    return {s.segment_id: s for s in design.segments}, design, found


def kinds(segments: dict[str, Segment]) -> dict[str, tuple[str, str]]:
    return {name: s.bike for name, s in segments.items()}


def told(found: list[Finding], code: str) -> list[Finding]:
    return [f for f in found if f.code == code]


def off_ft(found: list[Finding]) -> float:
    """Feet that the findings say are on no street."""
    texts = [f.text for f in found if f.code == "not_on_street"]
    lost = [float(re.search(r": ([\d,]+) of", t)[1].replace(",", "")) for t in texts]  # type: ignore[index]
    short = [f.text for f in found if f.code == "short_remains"]
    lost += [float(re.search(r"([\d,]+) ft together", t)[1].replace(",", "")) for t in short]  # type: ignore[index]
    return sum(lost)


def test_a_line_beside_two_segments_split_elsewhere() -> None:
    """One line 30 ft north of m1 and m2, drawn against them: left of both, and nothing is split.

        ===================   k (drawn east to west)
    m1 ------------+----------- m2
                   s
    """
    streets = [
        street("m1", "LINESTRING (-310 12, 90 20)"),
        street("m2", "LINESTRING (90 20, 490 28)"),
        street("s", "LINESTRING (95 -230, 90 20)", name="Pier Lane", lanes=None),
    ]
    segments, _, found = built(streets, [lane("k", "LINESTRING (489 58, -311 42)")])
    assert kinds(segments) == {
        "m1": ("lane", "none"), "m2": ("lane", "none"), "s": ("none", "none")
    }  # fmt: skip
    assert {s.bike_source for s in segments.values()} == {"bike_facilities", "none"}
    assert strips_text(segments["m1"].strips) == (
        "bike_lane< 5.0 | travel_lane< 19.5 | travel_lane> 19.5"
    )
    assert not told(found, "not_on_street")


def test_a_partial_overlap_is_cut_by_station() -> None:
    """The line covers stations 200 to 510 of 700 ft: three pieces, joints at 200 and 510 ft."""
    streets = [street("m", "LINESTRING (0 5, 700 5)", turn_lanes_forward="left|through", lanes=3,
                      lanes_forward=2, lanes_backward=1)]  # fmt: skip
    bikes = [lane("k", "LINESTRING (510 -20, 200 -20)", facility="buffered")]
    segments, design, found = built(streets, bikes)
    assert kinds(segments) == {
        "m.1": ("none", "none"), "m.2": ("none", "buffered"), "m.3": ("none", "none")
    }  # fmt: skip
    assert [round(segments[f"m.{k}"].length_ft, 6) for k in (1, 2, 3)] == [200.0, 310.0, 190.0]
    assert {s.source_ids for s in segments.values()} == {("m",)}
    assert segments["m.1"].end == segments["m.2"].start
    assert segments["m.2"].end == segments["m.3"].start
    # turn lanes stay at the end they belong to
    assert [bool(segments[f"m.{k}"].turn_lanes) for k in (1, 2, 3)] == [False, False, True]
    assert not design.intersections
    assert not [f for f in found if f.source == "bike_facilities"]


@pytest.mark.parametrize(("left_ft", "pieces"), [(40.0, 1), (59.0, 1), (61.0, 2), (140.0, 2)])
def test_a_block_is_split_only_where_enough_is_uncovered(left_ft: float, pieces: int) -> None:
    streets = [street("m", "LINESTRING (0 5, 500 5)")]
    segments, _, _ = built(streets, [lane("k", f"LINESTRING ({left_ft} 30, 500 30)")])
    assert len(segments) == pieces
    assert segments["m" if pieces == 1 else "m.2"].bike == ("lane", "none")
    wide, _, _ = built(
        streets, [lane("k", f"LINESTRING ({left_ft} 30, 500 30)")],
        conflation={"uncovered": "150 ft"},
    )  # fmt: skip
    assert len(wide) == 1


def test_what_hardly_covers_a_block_is_told() -> None:
    """30 ft beside a block of 400 ft are no facility; 30 ft of a block of 50 ft are."""
    segments, _, found = built(
        [street("m", "LINESTRING (0 5, 400 5)")], [lane("k", "LINESTRING (180 5, 210 5)")]
    )
    assert kinds(segments) == {"m": ("none", "none")}
    assert "30 of 30 ft" in told(found, "not_on_street")[0].text
    assert "too short a stretch" in told(found, "not_on_street")[0].text
    short, _, found = built(
        [street("m", "LINESTRING (0 5, 50 5)")],
        [lane("k", "LINESTRING (10 5, 40 5)", direction="forward")],
    )
    assert kinds(short) == {"m": ("none", "lane")}
    assert not told(found, "not_on_street")


def test_a_line_that_crosses_at_an_angle_is_told() -> None:
    """It crosses at 45 degrees, 25 is the most; with the setting at 45 deg it still covers little
    and is told."""
    streets = [street("m", "LINESTRING (0 0, 600 0)")]
    bikes = [lane("k", "LINESTRING (200 -90, 380 90)", side="both")]
    segments, _, found = built(streets, bikes)
    assert kinds(segments) == {"m": ("none", "none")}
    (one,) = told(found, "not_on_street")
    assert one.rows == 1
    assert "crosses at an angle" in one.text
    assert "no street within 50 ft" in one.text
    assert "255 of 255 ft" in one.text  # 180 * sqrt(2)
    assert shapely.length(one.geometry) == pytest.approx(180 * 2**0.5)


def test_of_two_parallel_streets_the_name_decides() -> None:
    """The line is nearer to Heron Row (18 ft) than to Gull Street (24 ft), but says Gull ST."""
    streets = [
        street("g", "LINESTRING (0 0, 500 0)"),
        street("h", "LINESTRING (0 42, 500 42)", name="Heron Row"),
    ]
    at = "LINESTRING (0 24, 500 24)"
    named, _, _ = built(streets, [lane("k", at, name="GULL ST")])
    assert kinds(named) == {"g": ("lane", "none"), "h": ("none", "none")}
    nameless, _, _ = built(streets, [lane("k", at)])
    assert kinds(nameless) == {"g": ("none", "none"), "h": ("none", "lane")}
    _, _, found = built(streets, [lane("k", at, name="Tern Avenue")])
    assert "500 ft: the street near has another name" in told(found, "not_on_street")[0].text


def test_street_names_in_one_form() -> None:
    assert street_name("North Gull Street") == street_name("N. GULL ST") == "n gull st"
    assert street_name("Gull Street") != street_name("Gull Avenue")


DIVIDED = [
    street("e", "LINESTRING (0 0, 600 0)", oneway="forward", name="Mole Road"),
    street("w", "LINESTRING (600 36, 0 36)", oneway="forward", name="Mole Road"),
]


@pytest.mark.parametrize("y", [0.0, 16.0, 36.0])
def test_one_line_serves_both_roadways_of_a_divided_street(y: float) -> None:
    """Both sides of Mole Road: the right-hand side of either roadway, wherever the line runs."""
    segments, _, found = built(DIVIDED, [lane("k", f"LINESTRING (0 {y}, 600 {y})", side="both")])
    assert kinds(segments) == {"e": ("none", "lane"), "w": ("none", "lane")}
    assert not told(found, "not_on_street")


def test_direction_chooses_the_roadway() -> None:
    """In the middle between two roadways, travel to the west is on `w` only."""
    line = "LINESTRING (0 16, 600 16)"
    one = lane("k", line, side="with_traffic", direction="backward")
    segments, _, _ = built(DIVIDED, [one])
    assert kinds(segments) == {"e": ("none", "none"), "w": ("none", "lane")}
    segments, _, _ = built(DIVIDED, [{**one, "direction": "forward"}])
    assert kinds(segments) == {"e": ("none", "lane"), "w": ("none", "none")}


def test_wrong_direction_is_told() -> None:
    """A lane against a one-way street is no lane; it would have to be called contraflow."""
    bikes = [lane("k", "LINESTRING (600 0, 0 0)", direction="forward")]
    segments, _, found = built(DIVIDED[:1], bikes)
    assert kinds(segments) == {"e": ("none", "none")}
    assert "one-way in the other direction" in told(found, "not_on_street")[0].text
    assert off_ft(found) == pytest.approx(600.0, abs=1.0)


@pytest.mark.parametrize(("side", "strips"), [
    ("right", "bike_lane< 5.0 | travel_lane> 39.0"), ("left", "travel_lane> 39.0 | bike_lane< 5.0"),
])  # fmt: skip
def test_contraflow_lies_left_of_the_traffic_and_mirrored(side: str, strips: str) -> None:
    rows = [street("e", "LINESTRING (0 0, 600 0)", oneway="forward", lanes=1)]
    bikes = [lane("k", "LINESTRING (0 0, 600 0)", facility="contraflow", side=None)]
    segments, _, _ = built(rows, bikes, project={"driving_side": side})
    assert strips_text(segments["e"].strips) == strips
    assert segments["e"].bike_facility == "contraflow"


def test_contraflow_on_a_two_way_street_is_told() -> None:
    bikes = [lane("k", "LINESTRING (0 0, 600 0)", facility="contraflow")]
    segments, _, found = built([street("m", "LINESTRING (0 0, 600 0)")], bikes)
    assert kinds(segments) == {"m": ("none", "none")}
    assert "the street is two-way" in told(found, "not_on_street")[0].text


def test_a_path_off_the_street_is_told_once() -> None:
    bikes = [
        lane("k", "LINESTRING (0 300, 500 300)", facility="path"),
        lane("l", "LINESTRING (0 8, 400 8)", facility="path"),
        lane("m", "LINESTRING (0 8, 400 8)", facility=None),
    ]
    segments, _, found = built([street("m", "LINESTRING (0 0, 600 0)")], bikes)
    assert kinds(segments) == {"m": ("none", "none")}
    (path,) = told(found, "path_off_street")
    assert (path.rows, "900 ft" in path.text) == (2, True)
    assert [f.rows for f in told(found, "facility_unknown")] == [1]


def test_the_side_of_a_line_on_the_axis() -> None:
    """With traffic on one-way streets; else by direction; else assumed, which is told."""
    rows = [street("m", "LINESTRING (0 0, 600 0)")]
    at = "LINESTRING (600 1, 0 1)"
    segments, _, found = built(rows, [lane("k", at, direction="forward")])
    assert kinds(segments) == {"m": ("lane", "none")}
    assert not told(found, "side_assumed")
    segments, _, found = built(rows, [lane("k", at)])
    assert kinds(segments) == {"m": ("lane", "none")}
    assert len(told(found, "side_assumed")) == 1
    one_way = [street("m", "LINESTRING (0 0, 600 0)", oneway="forward", lanes=1)]
    segments, _, found = built(one_way, [lane("k", at, side="with_traffic")])
    assert kinds(segments) == {"m": ("none", "lane")}
    assert not told(found, "side_assumed")


def test_the_more_special_line_takes_its_side() -> None:
    """A lane on both sides, and a separated one drawn on the north side of 100 to 400 ft."""
    bikes = [
        lane("a", "LINESTRING (0 0, 600 0)", side="both"),
        lane("b", "LINESTRING (100 30, 400 30)", facility="separated"),
    ]
    segments, _, found = built([street("m", "LINESTRING (0 0, 600 0)", width_ft=60.0)], bikes)
    assert kinds(segments) == {
        "m.1": ("lane", "lane"), "m.2": ("separated", "lane"), "m.3": ("lane", "lane")
    }  # fmt: skip
    assert not told(found, "not_on_street")


def test_what_a_better_match_has_taken_is_told() -> None:
    bikes = [
        lane("a", "LINESTRING (0 25, 600 25)"),
        lane("b", "LINESTRING (100 40, 500 40)"),
    ]
    segments, _, found = built([street("m", "LINESTRING (0 0, 600 0)")], bikes)
    assert kinds(segments) == {"m": ("lane", "none")}
    assert "400 ft: the side is taken by a" in told(found, "not_on_street")[0].text


def test_a_layer_wins_over_the_attribute_of_its_side() -> None:
    rows = [street("m", "LINESTRING (0 0, 600 0)", bike_lane="both", width_ft=60.0),
            street("n", "LINESTRING (0 900, 600 900)", bike_lane="both")]  # fmt: skip
    bikes = [lane("a", "LINESTRING (0 25, 600 25)", facility="none")]
    segments, _, _ = built(rows, bikes)
    assert kinds(segments) == {"m": ("none", "lane"), "n": ("lane", "lane")}
    assert segments["m"].bike_source == "bike_facilities"
    assert segments["n"].bike_source == "attribute"


def test_shared_lanes_have_no_strip_but_are_known() -> None:
    bikes = [lane("a", "LINESTRING (0 0, 600 0)", facility="shared", side="both")]
    segments, _, _ = built([street("m", "LINESTRING (0 0, 600 0)")], bikes)
    assert kinds(segments) == {"m": ("shared", "shared")}
    assert segments["m"].bike_facility == "shared"
    assert not segments["m"].has("bike_lane")


def test_strips_stand_in_their_order_from_the_curb() -> None:
    """Parking outside of a buffered lane; a separated lane runs between curb and parked cars."""
    rows = [street("m", "LINESTRING (0 0, 600 0)", parking="both", width_ft=66.0)]
    bikes = [
        lane("a", "LINESTRING (0 25, 600 25)", facility="buffered"),
        lane("b", "LINESTRING (0 -25, 600 -25)", facility="separated"),
    ]
    segments, _, _ = built(rows, bikes)
    assert strips_text(segments["m"].strips) == (
        "parking 8.0 | bike_lane< 5.0 | buffer 3.0 | travel_lane< 17.0 | travel_lane> 17.0 | "
        "parking 8.0 | buffer 3.0 | bike_lane> 5.0"
    )


@pytest.mark.parametrize(("width", "codes", "lane_ft"), [
    (52.0, [], 10.0),  # 2 lanes of 10 ft, 16 ft parking, 16 ft lanes with buffers
    (46.0, ["parking_does_not_fit"], 15.0),
    (30.0, ["parking_does_not_fit", "bike_buffer_does_not_fit"], 10.0),
    (24.0, ["parking_does_not_fit", "bike_buffer_does_not_fit", "narrow_lanes"], 8.0),
])  # fmt: skip
def test_parking_gives_way_then_buffers(width: float, codes: list[str], lane_ft: float) -> None:
    rows = [street("m", "LINESTRING (0 0, 600 0)", parking="both", width_ft=width)]
    bikes = [lane("a", "LINESTRING (0 0, 600 0)", facility="buffered", side="both")]
    segments, _, found = built(rows, bikes)
    assert [f.code for f in found if f.source == "streets"] == codes
    lanes = [s.width_ft for s in segments["m"].strips if s.kind == "travel_lane"]
    assert lanes == pytest.approx([lane_ft, lane_ft])
    assert [s.kind for s in segments["m"].strips].count("bike_lane") == 2


def test_assumed_lanes_give_way_to_known_bike_lanes() -> None:
    """An arterial is assumed to have four lanes; 40 ft hold two beside bike lanes."""
    row = street("m", "LINESTRING (0 0, 600 0)", street_class="arterial", lanes=None,
                 width_ft=None)  # fmt: skip
    bikes = [lane("a", "LINESTRING (0 0, 600 0)", side="both")]
    curbs = [{"curb_id": str(y), "at": f"LINESTRING (-50 {y}, 650 {y})"} for y in (-20, 20)]
    scene = Scene([row], bike_facilities=bikes, curbs=curbs)
    design, found = design_of(scene)
    assert len(told(found, "assumed_lanes_do_not_fit")) == 1
    assert len(design.segments[0].lanes(1)) == len(design.segments[0].lanes(-1)) == 1
    assert design.segments[0].width_ft == pytest.approx(40.0, abs=0.1)


def test_parking_of_a_layer_of_its_own() -> None:
    """Angle parking on the north side of 0 to 300 ft, none on the south side, against attributes;
    the cut is shared with a bike lane that ends 20 ft on."""
    rows = [street("m", "LINESTRING (0 0, 600 0)", parking="both", width_ft=70.0)]
    parking = [
        {"parking_id": "a", "kind": "angle", "side": "one", "at": "LINESTRING (0 30, 300 30)"},
        {"parking_id": "n", "kind": "none", "side": "left", "at": "LINESTRING (600 0, 0 0)"},
        {"parking_id": "x", "kind": None, "side": "one", "at": "LINESTRING (600 0, 0 0)"},
    ]
    bikes = [lane("k", "LINESTRING (0 -22, 320 -22)")]
    segments, _, found = built(rows, bikes, parking)
    assert sorted(segments) == ["m.1", "m.2"]
    assert segments["m.1"].length_ft == pytest.approx(310.0)
    assert strips_text(segments["m.1"].strips) == (
        "parking 18.0 | travel_lane< 23.5 | travel_lane> 23.5 | bike_lane> 5.0"
    )
    assert strips_text(segments["m.2"].strips) == (
        "parking 8.0 | travel_lane< 31.0 | travel_lane> 31.0"
    )
    assert [f.rows for f in told(found, "parking_unknown")] == [1]


def town() -> Scene:
    """Streets and facilities of every kind, none square to the axes."""
    streets = [
        street("a", "LINESTRING (-420 20, 10 60)", lanes=None),
        street("b", "LINESTRING (10 60, 460 90)", lanes=None),
        street("c", "LINESTRING (10 60, -30 -390)", name="Pier Lane", oneway="backward", lanes=1),
        street("d", "LINESTRING (10 60, 60 480)", name="Pier Lane", oneway="forward", lanes=1),
    ]
    bikes = [
        lane("k1", "LINESTRING (-380 -2, -150 20, 12 36)", facility="buffered"),
        lane("k2", "LINESTRING (455 91, 200 72)", side="both"),
        lane("k3", "LINESTRING (10 60, -30 -390)", facility="contraflow", side=None),
        lane("k4", "LINESTRING (40 120, 82 470)", facility="separated", direction="both"),
        lane("k5", "LINESTRING (-300 300, 100 500)", facility="lane", side="left"),
        lane("k6", "LINESTRING (-420 20, -200 40)", facility="separated", side="left"),
    ]
    parking = [{"parking_id": "p", "kind": "parallel", "side": "right",
                "at": "LINESTRING (10 60, 460 90)"}]  # fmt: skip
    return Scene(streets, bike_facilities=bikes, parking=parking)


def places(scene: Scene) -> list[tuple[str, str, float, float]]:
    """Kind, style and center of every marking, sorted."""
    markings, _, _ = layout_of(scene)
    middle = shapely.get_coordinates(shapely.centroid(markings.geometry.to_numpy()))
    rows = zip(markings["kind"], markings["style"], *middle.T, strict=True)
    return sorted((k, s, round(x, 2), round(y, 2)) for k, s, x, y in rows)


def turned(row: dict[str, Any]) -> dict[str, Any]:
    """A row of the same meaning, drawn the other way."""
    out = {**row, "at": shapely.reverse(shapely.from_wkt(row["at"]))}
    for name in ("side", "direction", "oneway"):
        out[name] = SWAP.get(row.get(name) or "", row.get(name))
    return out


@pytest.mark.parametrize("what", [("streets",), ("bike_facilities", "parking"),
                                  ("streets", "bike_facilities", "parking")])  # fmt: skip
def test_digitised_direction_does_not_matter(what: tuple[str, ...]) -> None:
    base = town()
    rows: dict[str, Any] = {name: [turned(dict(r)) for r in getattr(base, name)] for name in what}
    assert places(replace(base, **rows)) == places(base)


@pytest.mark.parametrize("angle", [90.0, 143.7])
def test_turning_the_streets_turns_the_layout(angle: float) -> None:
    """Pieces are compared by source, because their numbers count from the lesser end point."""
    base = town()

    def turn(row: Any) -> dict[str, Any]:
        at = affinity.rotate(shapely.from_wkt(row["at"]), angle, origin=(0, 0))
        return {**row, "at": affinity.translate(at, 731.4, -288.9)}

    rows: dict[str, Any] = {
        name: [turn(r) for r in getattr(base, name)]
        for name in ("streets", "bike_facilities", "parking")
    }
    own, back = (
        sorted((s.source_ids, round(s.length_ft, 4), s.bike, strips_text(s.strips))
               for s in design_of(scene)[0].segments)
        for scene in (base, replace(base, **rows))
    )  # fmt: skip
    assert own == back


def test_row_order_does_not_matter() -> None:
    base = town()
    mixed = replace(base, bike_facilities=base.bike_facilities[::-1], streets=base.streets[::-1])
    assert places(mixed) == places(base)


def test_mirrored_with_traffic_on_the_left() -> None:
    base = town()

    def mirror(row: Any) -> dict[str, Any]:
        at = affinity.scale(shapely.from_wkt(row["at"]), -1.0, 1.0, origin=(0, 0))
        return {**row, "side": SWAP.get(row.get("side") or "", row.get("side")), "at": at}

    got = replace(
        base,
        **{n: [mirror(r) for r in getattr(base, n)] for n in ("streets", "bike_facilities",
                                                              "parking")},
        settings={"project": {"driving_side": "left"}},
    )  # fmt: skip
    own, back = design_of(base)[0], design_of(got)[0]
    ids = {s.segment_id.split(".")[0]: [] for s in own.segments}
    for design, flip in ((own, False), (back, True)):
        for s in design.segments:
            strips = [x.reversed() for x in s.strips[::-1]] if flip else list(s.strips)
            told_ = [(x.kind, x.direction * (-1 if flip else 1), round(x.left_ft, 6))
                     for x in strips]  # fmt: skip
            ids[s.segment_id.split(".")[0]].append((round(s.length_ft, 4), told_))
    for name, found in ids.items():
        half = len(found) // 2
        assert sorted(found[:half]) == sorted(found[half:]), name


def test_every_foot_is_counted() -> None:
    """Matched and unmatched steps add up to the length of the lines, and to the findings."""
    base = town()
    own = project()
    params = street_params(own.settings)
    tables = base.tables()
    network, _ = build_network(clean_streets(tables["streets"])[0], params.network)
    table = tables["bike_facilities"]
    claims, account, _ = bike_claims(network, table, params.conflation, params.side)
    cut, fate = with_claims(network, claims, params.conflation.uncovered_ft)
    settled, by = account.settled(fate)
    steps = settled.steps
    assert steps.length_ft.sum() == pytest.approx(table.length.sum())
    lost = steps.length_ft[steps.state != MATCHED].sum()
    assert lost > 400.0  # k5 is off the streets
    assert off_ft(settled.findings(by, params.conflation)) == pytest.approx(lost, abs=3.0)
    # splitting changes neither length nor sources of the network
    assert cut.axes.lengths.sum() == pytest.approx(network.axes.lengths.sum())
    assert len(cut.rows) > len(network.rows)
    assert np.unique(cut.ends).size == len(cut.nodes)


def test_rows_are_used_or_reported() -> None:
    _, _, found = built(list(town().streets), [*town().bike_facilities,
                        lane("z", "LINESTRING EMPTY")])  # fmt: skip
    lost = {f.code: f.rows for f in found if f.source == "bike_facilities" and f.rows}
    assert lost == {"not_on_street": 1, "null_geometry": 1}


def test_first_symbol_stands_where_a_lane_begins_at_a_joint() -> None:
    """BIKE-02: the lane begins at 200 ft, its first symbol 20 ft on; the lane back ends there."""
    streets = [street("m", "LINESTRING (0 5, 700 5)")]
    scene = Scene(streets, bike_facilities=[lane("k", "LINESTRING (200 5, 700 5)", side="both")])
    markings, _, _ = layout_of(scene)
    own = markings[(markings["kind"] == "bike_lane") & (markings["style"] == "symbol")]
    x = shapely.get_x(shapely.centroid(own.geometry.to_numpy()))
    east = own["bearing_deg"].to_numpy() < 180.0
    assert x[east].min() == pytest.approx(223.0, abs=1.0)
    assert x[~east].max() == pytest.approx(677.0, abs=1.0)
    lines = markings[(markings["kind"] == "bike_lane") & markings["is_line"]]
    assert shapely.bounds(lines.geometry.to_numpy())[:, 0].min() == pytest.approx(200.0)


def test_lines_toward_oncoming_traffic_are_yellow() -> None:
    """LINE-15, BIKE-32; no white line lies there, and the truck drives with the traffic."""
    rows = [street("e", "LINESTRING (0 0, 600 0)", oneway="forward", lanes=1)]
    bikes = [lane("k", "LINESTRING (0 0, 600 0)", facility="contraflow", side=None)]
    markings, _, _ = layout_of(Scene(rows, bike_facilities=bikes))
    own = markings[markings["kind"] == "bike_lane"]
    lines = own[own["is_line"]]
    assert lines["color"].tolist() == ["yellow"]
    assert set(own["travel"]) == {1}
    symbols = own[own["style"] == "symbol"]
    assert symbols["bearing_deg"].to_numpy() == pytest.approx(270.0, abs=0.5)


def test_at_a_fork_the_line_stays_with_the_street_it_runs_along() -> None:
    """k runs 40 ft beside m1 and m2; branch v leaves at 17 degrees right under it and is nearer
    for a while, but never runs its way."""
    streets = [
        street("m1", "LINESTRING (-400 0, 0 0)"),
        street("m2", "LINESTRING (0 0, 500 0)"),
        street("v", "LINESTRING (0 0, 480 146)"),
    ]
    segments, _, found = built(streets, [lane("k", "LINESTRING (-400 40, 500 40)")])
    assert kinds(segments) == {"m1": ("lane", "none"), "m2": ("lane", "none"), "v": ("none",) * 2}
    assert not told(found, "not_on_street")


def test_what_runs_on_beyond_a_dead_end_is_told() -> None:
    """The street ends at 300 ft, the line at 400: 20 ft are let pass, the rest is told."""
    bikes = [lane("k", "LINESTRING (0 12, 400 12)")]
    segments, _, found = built([street("m", "LINESTRING (0 0, 300 0)")], bikes)
    assert kinds(segments) == {"m": ("lane", "none")}
    assert "80 of 400 ft" in told(found, "not_on_street")[0].text
    assert "beyond the end of a street" in told(found, "not_on_street")[0].text
