"""Records changed a few fields at a time: the same as `dataclasses.replace`, only faster."""

from __future__ import annotations

import random
from dataclasses import fields, replace

import pytest

from layoutgen.records import changed
from layoutgen.street.design import Cut, Leg, LegLayout, Segment, Strip


def segment(strips: tuple[Strip, ...]) -> Segment:
    return Segment(
        index=0,
        segment_id="a",
        source_ids=("a",),
        name="Heron Street",
        street_class="local",
        oneway="both",
        speed_mph=25.0,
        width_ft=24.0,
        width_source="attribute",
        lanes_source="attribute",
        length_ft=100.0,
        start="0",
        end="1",
        strips=strips,
        center_line="broken",
    )


TWO_WAY = (Strip("travel_lane", -1, -12.0, 0.0), Strip("travel_lane", 1, 0.0, 12.0))
ONE_WAY = (Strip("travel_lane", 1, -12.0, 0.0), Strip("travel_lane", 1, 0.0, 12.0))


def test_it_does_what_replace_does() -> None:
    record = segment(TWO_WAY)
    rng = random.Random(1)
    names = [field.name for field in fields(record)]
    for _ in range(50):
        values = {name: f"new {name}" for name in rng.sample(names, rng.randint(0, 5))}
        assert changed(record, **values) == replace(record, **values)
    assert record == segment(TWO_WAY)


def test_what_was_read_from_old_fields_is_read_anew() -> None:
    record = segment(TWO_WAY)
    assert len(record.lanes(-1)) == 1
    assert record.has("travel_lane")
    after = changed(record, strips=ONE_WAY)
    assert len(after.lanes(-1)) == 0
    assert len(after.lanes(1)) == 2
    bare = changed(record, strips=(Strip("shoulder", 0, -12.0, 12.0),))
    assert not bare.has("travel_lane")


def test_a_leg_reads_its_approach_anew() -> None:
    cut = Cut(10.0)
    leg = Leg(
        leg_id="x-N",
        intersection_id="x",
        segment=segment(TWO_WAY),
        at_end=False,
        bearing_deg=0.0,
        control="none",
        control_source="none known",
        intersection_control="none",
        legs=3,
        strips=TWO_WAY,
        movements=(),
        room_ft=50.0,
        pocket_ft=0.0,
        school=False,
        circular=False,
        crossing=None,
        layout=LegLayout(cut, None, cut, cut, cut),
    )
    assert len(leg.inbound) == 1
    assert len(leg.outbound) == 1
    after = changed(leg, strips=ONE_WAY)
    assert after.inbound == ()
    assert len(after.outbound) == 2


def test_a_slip_of_the_pen_is_refused() -> None:
    with pytest.raises(TypeError, match="Cut has no field slop"):
        changed(Cut(1.0), slop=0.5)
    with pytest.raises(TypeError, match="dict is no record"):
        changed({}, slope=0.5)
