"""A family of markings is one file and one case file: nothing else is touched, all else follows."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import make_docs
import pytest
import test_cases
from scenes import SCENES, layout_of
from typer.testing import CliRunner

from layoutgen import settings
from layoutgen.cli import app
from layoutgen.markings import catalog, rules

RULE = '''"""Ship mark: a broad bar across the lane, a ship's length before the stop position.

Invented for a test; common practice nowhere.
"""

from __future__ import annotations

from collections.abc import Iterator

from layoutgen.config import length
from layoutgen.markings.conformity import width_check
from layoutgen.markings.marking import Bar, BarsShape, Frame, Marking, Rule, RuleParams
from layoutgen.street.design import Leg


class Params(RuleParams):
    width_ft: float = length(
        "18 in", low="12 in", high="24 in", source="STOP-01", text="along travel"
    )
    before_ft: float = length(
        "60 ft", low="20 ft", high="90 ft", source="common practice", text="from the stop position"
    )


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    near = leg.layout.stop.moved(params.before_ft)
    far = near.moved(params.width_ft)
    lane = leg.inbound[0]
    if far.farthest(lane.left_ft, lane.right_ft) > leg.room_ft:
        return
    yield Marking(
        kind="ship_mark",
        frame=Frame.of_leg(leg),
        shape=BarsShape(leg.base_ft, (Bar(near, far, lane.left_ft, lane.right_ft),)),
        color="white",
        travel=-1,
        anchor=leg.leg_id,
        station_ft=near.at(lane.center_ft),
        offset_ft=lane.center_ft,
        width_ft=params.width_ft,
        style="bar",
        reason="every approach gets one",
        sources=("STOP-01",),
        intersection_id=leg.intersection_id,
    )


CHECKS = (width_check("STOP-01", ["ship_mark"], 1.0, 2.0),)
RULE = Rule(on="approach", params=Params, mark=mark, checks=CHECKS)
'''

CASES = """[[case]]
name = "defaults"
scene = "tee"
expected = []
wkt = ""

[[case]]
name = "narrow and near"
scene = "tee"
settings.rules.ship_mark.width = "12 in"
settings.rules.ship_mark.before = "30 ft"
expected = []

[[case]]
name = "off"
scene = "tee"
settings.rules.ship_mark.enabled = false
expected = []
"""


def clear_caches() -> None:
    for cached in (catalog.rule_catalog, settings.settings_model, settings.rule_table):
        cached.cache_clear()
    test_cases._outcome.cache_clear()


@pytest.fixture
def family(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder with the new rule, seen as if it lay in markings/rules; its case file beside it."""
    (tmp_path / "ship_mark.py").write_text(RULE, encoding="utf-8")
    case_file = tmp_path / "cases" / "ship_mark.toml"
    case_file.parent.mkdir()
    case_file.write_text(CASES, encoding="utf-8")
    monkeypatch.setattr(rules, "__path__", [*rules.__path__, str(tmp_path)])
    monkeypatch.setattr(test_cases, "CASES", case_file.parent)
    clear_caches()
    yield case_file
    sys.modules.pop("layoutgen.markings.rules.ship_mark", None)
    clear_caches()


def test_it_is_in_the_catalog_the_schema_the_command_and_the_docs(family: Path) -> None:
    del family
    assert "ship_mark" in catalog.rule_catalog()
    table = settings.json_schema()["$defs"]["ship_mark_table"]["properties"]
    assert table["before"]["default"] == "60 ft"
    shown = CliRunner().invoke(app, ["rules"])
    assert shown.exit_code == 0
    assert "ship_mark" in shown.output
    assert "| `ship_mark` | Ship mark: a broad bar across the lane" in make_docs.rules()


def test_its_cases_are_filled_in_and_hold(family: Path) -> None:
    test_cases.accept("ship_mark")
    told = test_cases.read("ship_mark")["case"]
    assert [len(case["expected"]) for case in told] == [3, 3, 0]
    for number in range(3):
        test_cases.test_case("ship_mark", number)
    test_cases.test_every_setting_changes_something_in_some_case("ship_mark")
    wrong = family.read_text(encoding="utf-8").replace("solid", "x").replace('"bar"', '"rod"')
    family.write_text(wrong, encoding="utf-8")
    with pytest.raises(AssertionError):
        test_cases.test_case("ship_mark", 0)


def test_it_is_painted_and_audited(family: Path) -> None:
    del family
    markings, _, _ = layout_of(SCENES["tee"]())
    assert (markings["kind"] == "ship_mark").sum() == 3
    checks = [
        c for r in catalog.rule_catalog().values() for c in r.checks if "ship_mark" in c.kinds
    ]
    assert [c.row for c in checks] == ["STOP-01"]


def test_a_file_without_rule_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "no_rule.py").write_text('"""Nothing here."""\n', encoding="utf-8")
    monkeypatch.setattr(rules, "__path__", [*rules.__path__, str(tmp_path)])
    clear_caches()
    with pytest.raises(TypeError, match=r"no_rule\.py offers no RULE"):
        catalog.rule_catalog()
    sys.modules.pop("layoutgen.markings.rules.no_rule", None)
    monkeypatch.undo()
    clear_caches()
