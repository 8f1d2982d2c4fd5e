"""Waits for drying, held to a check that shares nothing with the timetable."""

from __future__ import annotations

from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layoutgen.work.timetable import Pace, Stint, Timetable, timetable

TIMES = {"slow": (4.0, 12.0), "fast": (0.5, 1.0)}


def dries(material: str, _: str) -> tuple[float, float]:
    return TIMES[material]


def stint(number: int, **more: object) -> Stint:
    base: dict[str, object] = {
        "section_id": f"s{number}",
        "marking_id": f"m{number}",
        "over_id": "",
        "coat": 1,
        "color": "white",
        "material": "slow",
        "lane": "the lane",
        "start_ft": 10.0 * number,
        "minutes": 2.0,
    }
    return Stint(**(base | more))  # type: ignore[arg-type]


def faults(stints: list[Stint], plan: Timetable, change_min: float) -> list[str]:
    """Wet paint painted over or driven over, overlaps in time, changes without their time."""
    by_id = {one.section_id: one for one in stints}
    rows = [by_id[one] for one in plan.order]
    start, out = plan.start_min, []
    for k, (a, b) in enumerate(pairwise(rows)):
        change = change_min if a.color != b.color else 0.0
        if start[b.section_id] < start[a.section_id] + a.minutes + change - 1e-3:
            out.append(f"{k}: too early after {a.section_id}")
    for i, j in combinations(range(len(rows)), 2):
        a, b = rows[i], rows[j]
        end = start[a.section_id] + a.minutes
        no_track, dry = TIMES[a.material]
        if b.over_id == a.marking_id and start[b.section_id] < end + dry - 1e-3:
            out.append(f"{b.section_id} over wet {a.section_id}")
        same_drive = all(rows[k].lane == a.lane for k in range(i, j)) and all(
            rows[k].start_ft <= rows[k + 1].start_ft + 0.02 for k in range(i, j)
        )
        if a.lane == b.lane and not same_drive and start[b.section_id] < end + no_track - 1e-3:
            out.append(f"{b.section_id} driven to over wet {a.section_id}")
        if b.over_id == "" and a.over_id == b.marking_id:
            out.append(f"{a.section_id} before its base {b.section_id}")
    return out


def test_white_over_green_waits_for_the_green() -> None:
    """Base 2 min, dry 12 min after its end, a color change of 6 min within that wait."""
    green = stint(1, marking_id="g", color="green")
    white = stint(2, coat=2, over_id="g", start_ft=11.0)
    plan = timetable([white, green], dries, Pace(6.0), stay=True)
    assert plan.order == ("s1", "s2")
    assert plan.start_min == {"s1": 0.0, "s2": 14.0}
    assert plan.wait_min["s2"] == pytest.approx(6.0)
    assert plan.last_wait_min == pytest.approx(4.0)
    assert plan.total_min == pytest.approx(2.0 + 6.0 + 6.0 + 2.0 + 4.0)


def test_other_lane_is_painted_while_the_base_dries() -> None:
    green = stint(1, marking_id="g", color="green", lane="a")
    other = stint(3, color="green", lane="b", minutes=20.0)
    white = stint(2, coat=2, over_id="g", lane="a")
    plan = timetable([white, other, green], dries, Pace(0.0), stay=False)
    assert plan.order == ("s1", "s3", "s2")
    assert plan.dry_min == 0.0


def test_the_shorter_of_both_orders_is_taken() -> None:
    """Two colors in two lanes: by color one change, by lane three."""
    stints = [
        stint(n, color=c, lane=lane, material="fast")
        for n, (c, lane) in enumerate(
            [("white", "a"), ("yellow", "a"), ("white", "b"), ("yellow", "b")]
        )
    ]
    plan = timetable(stints, dries, Pace(6.0), stay=False)
    assert plan.colors == ("white", "yellow")
    # no time for a change: by lane each lane is waited for, by color only the way back is
    slow = [stint(n, color=s.color, lane=s.lane) for n, s in enumerate(stints)]
    free = timetable(slow, lambda *_: (3.0, 60.0), Pace(0.0), stay=False)
    assert free.colors == ("white", "yellow")
    assert free.dry_min == pytest.approx(1.0)


@st.composite
def jobs(draw: st.DrawFn) -> list[Stint]:
    count = draw(st.integers(1, 9))
    out: list[Stint] = []
    for number in range(count):
        bases = [one for one in out if one.coat == 1]
        over = draw(st.sampled_from([None, *bases]))
        out.append(
            stint(
                number,
                coat=2 if over else 1,
                over_id=over.marking_id if over else "",
                color=draw(st.sampled_from(["white", "green", "yellow"])),
                material=draw(st.sampled_from(sorted(TIMES))),
                lane=over.lane if over else draw(st.sampled_from(["a", "b", "c"])),
                start_ft=float(draw(st.integers(0, 12))),
                minutes=float(draw(st.integers(0, 8))),
            )
        )
    return out


@settings(max_examples=400, deadline=None)
@given(jobs(), st.sampled_from([0.0, 6.0]))
def test_no_job_paints_or_drives_over_wet_paint(stints: list[Stint], change: float) -> None:
    plan = timetable(stints, dries, Pace(change, 1.5), stay=True)
    assert sorted(plan.order) == sorted(one.section_id for one in stints)
    assert faults(stints, plan, change) == []
    ends = [plan.start_min[s.section_id] + s.minutes + TIMES[s.material][0] for s in stints]
    assert plan.total_min >= max(ends) - 1e-3


def test_the_check_finds_what_is_wrong() -> None:
    """The check itself must be able to fail."""
    green = stint(1, marking_id="g", color="green")
    white = stint(2, coat=2, over_id="g", start_ft=5.0)
    early = Timetable(("s1", "s2"), {"s1": 0.0, "s2": 5.0}, {}, ("green", "white"), 0.0, 7.0)
    assert len(faults([green, white], early, 6.0)) == 3
