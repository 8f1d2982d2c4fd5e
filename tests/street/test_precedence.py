"""The order of sources in README is the order of the program: every neighboring pair disagrees.

`CLAIMS` holds for every source of every order a scene that offers it. Two are merged, the higher
one must win; alone the lower one must count, so that it was there to be beaten.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import pytest
from scenes import Scene, design_of, tee

from layoutgen.config import merge
from layoutgen.street.design import Design
from layoutgen.street.precedence import CONTROL, ORDERS, WIDTH, Order, control_name

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Claim:
    """What one source offers, and the value it stands for."""

    value: Any
    street: Row = field(default_factory=dict)
    rows: Mapping[str, Row] = field(default_factory=dict)
    curbs: tuple[str, ...] = ()
    settings: Row = field(default_factory=dict)


def row(**values: Any) -> Row:
    return {"segment_id": "k", **values}


NODE = "POINT (40 30)"
ALONG = "LINESTRING (0 3, 800 3)"
CLAIMS: Mapping[str, Mapping[str, Claim]] = {
    "width": {
        "curbs": Claim(44.0, curbs=("LINESTRING (0 22, 800 22)", "LINESTRING (0 -22, 800 -22)")),
        "table": Claim(41.0, rows={"width": row(width_ft=41.0)}),
        "attribute": Claim(38.0, street={"width_ft": 38.0}),
        "class default": Claim(36.0),
    },
    "lanes": {
        "table": Claim(6, rows={"lanes": row(lanes=6)}),
        "attribute": Claim(4, street={"lanes": 4}),
        "class default": Claim(2),
    },
    "speed": {
        "table": Claim(45.0, rows={"speed": row(speed_mph=45.0)}),
        "attribute": Claim(40.0, street={"speed_mph": 40.0}),
        "class default": Claim(30.0),
    },
    "control of an approach": {
        "signal point": Claim(
            "signal", rows={"controls": {"control": "signal", "at": "POINT (58 51)"}}
        ),
        "signal row": Claim("signal", rows={"intersections": {"control": "signal", "at": NODE}}),
        "sign point": Claim(
            "stop",
            rows={"controls": {"control": "stop", "bearing_deg": 356.0, "at": "POINT (61 -2)"}},
        ),
        "row": Claim("yield", rows={"intersections": {"control": "yield", "at": NODE}}),
        "class": Claim("stop", settings={"controls": {"infer": "class"}}),
    },
    "bike lanes of a side": {
        "bike_facilities": Claim(
            ["bike_lane"] * 2,
            rows={"bike_facilities": {"facility": "lane", "side": "both", "at": ALONG}},
        ),
        "attribute": Claim(["bike_lane"], street={"bike_lane": "left"}),
        "none": Claim([]),
    },
    "parking of a side": {
        "parking": Claim([], rows={"parking": {"kind": "none", "side": "both", "at": ALONG}}),
        "attribute": Claim(["parking"], street={"parking": "right"}),
        "class default": Claim(
            ["parking", "parking"], settings={"defaults": {"collector": {"parking": "both"}}}
        ),
    },
}
PAIRS = [
    (order, above.name, below.name) for order in ORDERS for above, below in pairwise(order.sources)
]


def scene(*claims: Claim) -> Scene:
    """Street k, 800 ft, for values of a street; a tee whose stem is asked, for controls."""
    more: dict[str, list[Row]] = {}
    street: dict[str, Any] = {"segment_id": "k", "street_class": "collector"}
    settings: dict[str, Any] = {}
    is_tee = any(set(c.rows) & {"controls", "intersections"} or "controls" in c.settings
                 for c in claims)  # fmt: skip
    for claim in claims:
        street |= claim.street
        settings = merge(settings, claim.settings)
        for name, one in claim.rows.items():
            more.setdefault(name, []).append(one)
    if is_tee:
        return replace(tee(**settings), controls=(), more=more)
    curbs = [{"curb_id": str(i), "at": at} for c in claims for i, at in enumerate(c.curbs)]
    at = {"at": "LINESTRING (0 0, 800 0)"}
    return Scene([street | at], curbs=curbs, more=more, settings=settings)


def outcome(order: Order, design: Design) -> tuple[Any, str]:
    """(value, told source) as the output shows them."""
    if order is CONTROL:
        stem = next(leg for leg in design.legs() if leg.segment.segment_id == "s")
        return stem.control, stem.control_source
    segment = design.segments[0]
    kinds = [strip.kind for strip in segment.strips]
    value: Any = {
        "width": round(segment.width_ft, 2),
        "lanes": kinds.count("travel_lane"),
        "speed": segment.speed_mph,
        "bike lanes of a side": [k for k in kinds if k == "bike_lane"],
        "parking of a side": [k for k in kinds if k == "parking"],
    }[order.value]
    return value, str(getattr(segment, order.column)) if order.column else ""


def told(order: Order, name: str) -> str:
    return next(s.label for s in order.sources if s.name == name) if order.column else ""


@pytest.mark.parametrize(("order", "above", "below"), PAIRS, ids=lambda p: getattr(p, "value", p))
def test_the_source_above_wins_over_the_one_below(order: Order, above: str, below: str) -> None:
    high, low = CLAIMS[order.value][above], CLAIMS[order.value][below]
    alone, _ = design_of(scene(low))
    assert outcome(order, alone) == (low.value, told(order, below))
    both, _ = design_of(scene(low, high))
    assert outcome(order, both) == (high.value, told(order, above))
    assert outcome(order, both) != outcome(order, alone)


def test_every_source_has_its_scene() -> None:
    assert {o.value: [s.name for s in o.sources] for o in ORDERS} == {
        value: list(claims) for value, claims in CLAIMS.items()
    }


@pytest.mark.parametrize(
    ("street", "wanted"),
    [
        ({"lanes_forward": 3, "lanes_backward": 2, "lanes": 2}, (3, 2)),
        ({"lanes": 4, "turn_lanes_forward": "left|through|right"}, (2, 2)),
        ({"turn_lanes_forward": "left|through|right"}, (3, 1)),
    ],
)
def test_counts_per_direction_then_the_total_then_turn_lanes(
    street: Row, wanted: tuple[int, int]
) -> None:
    design, _ = design_of(scene(Claim(0, street=street)))
    segment = design.segments[0]
    assert (len(segment.lanes(1)), len(segment.lanes(-1))) == wanted
    assert segment.lanes_source == "attribute"


def test_order_is_asked_not_the_order_of_the_offers() -> None:
    offers = {"class default": 30.0, "attribute": None, "table": 41.0}
    assert WIDTH.best(offers) == (41.0, "table")
    assert WIDTH.best({"attribute": 0.0, "class default": 30.0}) == (0.0, "attribute")
    with pytest.raises(LookupError, match="no source offers a value for width"):
        WIDTH.best({"attribute": None})
    with pytest.raises(KeyError, match="width has no source 'rumor'"):
        WIDTH.best({"rumor": 1.0})


def test_an_order_turned_round_turns_the_program_round(monkeypatch: pytest.MonkeyPatch) -> None:
    """The structure is what decides: with the line before the table the line wins."""
    sources = WIDTH.sources
    turned = replace(WIDTH, sources=(sources[0], sources[2], sources[1], sources[3]))
    monkeypatch.setattr("layoutgen.street.cross_section.WIDTH", turned)
    monkeypatch.setitem(dict_of_joined(), "width", turned)
    claims = CLAIMS["width"]
    design, found = design_of(scene(claims["table"], claims["attribute"]))
    assert outcome(WIDTH, design) == (38.0, "attribute")
    assert "the street line counts" in next(f.text for f in found if f.source == "width")


def dict_of_joined() -> dict[str, Order]:
    from layoutgen.street import joined

    assert isinstance(joined.JOINED, dict)
    return joined.JOINED


def test_controls_are_named_by_kind_and_source() -> None:
    names = [control_name(c, s) for c in ("signal", "stop") for s in ("controls", "intersections")]
    assert names == ["signal point", "signal row", "sign point", "row"]
    assert control_name("stop", "class") == "class"


@pytest.mark.parametrize("whole", ["none", "two_way_stop", "yield"])
def test_classes_tell_nothing_where_a_row_does(whole: str) -> None:
    rows = {"intersections": {"control": whole, "at": NODE}}
    design, _ = design_of(scene(Claim("", rows=rows, settings={"controls": {"infer": "class"}})))
    stem = next(leg for leg in design.legs() if leg.segment.segment_id == "s")
    wanted = {"none": "none", "two_way_stop": "stop", "yield": "yield"}[whole]
    told_by = "none known" if whole == "none" else "intersections"
    assert (stem.control, stem.control_source) == (wanted, told_by)
