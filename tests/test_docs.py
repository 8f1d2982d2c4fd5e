"""Docs that lie fail the build: generated parts, commands, pictures, top level."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import conformity_table
import jsonschema
import make_docs
import pytest

from layoutgen.base_file import base_toml
from layoutgen.config import merge
from layoutgen.gis.roles import ROLES
from layoutgen.markings.catalog import rule_catalog, standard_rows
from layoutgen.settings import json_schema, load_project

ROOT = Path(__file__).parents[1]
#: share of the shall rows on markings that the audit asks
ASKED_SHARE = 0.90
OPEN_ROWS = 0
REASONS = {
    *("not_a_marking", "option", "no_data", "drawing_not_readable"),
    *("memory_only", "superseded", "agency_practice", "other"),
}
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_generated_parts_of_readme_are_current() -> None:
    assert make_docs.filled(README) == README, "run: python tests/make_docs.py"


def test_base_file_is_current() -> None:
    text = (ROOT / "configs" / "us_base.toml").read_text(encoding="utf-8")
    assert text == base_toml() + "\n", "run: python tests/make_docs.py"


def test_conformity_table_is_current() -> None:
    text = (conformity_table.FOLDER / "CONFORMITY.md").read_text(encoding="utf-8")
    assert text == conformity_table.conformity(), "run: python tests/make_docs.py"


def test_no_more_rows_of_the_standard_are_open() -> None:
    found = [row for row in standard_rows() if conformity_table.state_of(row) == "open"]
    assert len(found) <= OPEN_ROWS, found


def test_rows_out_of_scope_exist_give_a_reason_and_are_not_asked() -> None:
    asked = conformity_table.checks_by_row()
    for row, (kind, reason) in conformity_table.out_of_scope().items():
        assert row in standard_rows()
        assert row not in asked, f"{row} is asked: take it out of out_of_scope.csv"
        assert kind in REASONS
        assert len(reason) > 15


def test_most_shall_rows_are_asked() -> None:
    done, total = conformity_table.asked_share()
    assert done / total >= ASKED_SHARE, f"{done} of {total}"


def test_base_file_changes_nothing(tmp_path: Path) -> None:
    """The base file says what the code says: with and without it the settings are the same."""
    streets = '[inputs.streets]\nsource = "x.shp"\n'
    (tmp_path / "a.toml").write_text(streets)
    (tmp_path / "b.toml").write_text('extends = "us_base.toml"\n' + streets)
    a, b = load_project(tmp_path / "a.toml"), load_project(tmp_path / "b.toml")
    assert a.settings.model_dump() == b.settings.model_dump()
    assert a.settings_hash == b.settings_hash


def test_readme_opens_with_the_job_in_one_paragraph() -> None:
    first = README.split("\n\n")[1]
    for word in ("markings", "centerlines", "rules", "polygon", "tours"):
        assert word in first


@pytest.mark.parametrize("marker", ["demo command", "test command"])
def test_readme_has_the_two_commands(marker: str) -> None:
    found = re.search(rf"<!-- {marker} -->\n(.*?)\n<!-- end -->", README, re.S)
    assert found is not None
    assert len(found[1].splitlines()) == 1
    assert "python3 -m venv .venv" in found[1]


def test_every_picture_of_readme_is_there() -> None:
    names = re.findall(r"!\[.*?\]\((.*?)\)", README)
    assert len(names) >= 2
    assert all((ROOT / name).is_file() for name in names)


def test_example_project_of_readme_is_valid() -> None:
    example = re.search(r"```toml\n(.*?)```", README, re.S)
    assert example is not None
    table = tomllib.loads(example[1])
    assert json_errors(table) == []


def test_shipped_settings_fit_the_json_schema() -> None:
    for path in sorted((ROOT / "configs").glob("*.toml")):
        assert json_errors(tomllib.loads(path.read_text(encoding="utf-8"))) == [], path.name


def test_json_schema_refuses_what_the_program_refuses() -> None:
    assert json_errors({"rules": {"stop_line": {"widht": "2 ft"}}})
    assert json_errors({"rules": {"crosswalk": {"style": "plaid"}}})


def json_errors(table: dict[str, object]) -> list[str]:
    roles = [role.name for role in ROLES]
    base = {"inputs": {name: {"source": "x"} for name in roles}}
    validator = jsonschema.Draft202012Validator(json_schema())
    return [e.message for e in validator.iter_errors(merge(base, table))]


def test_every_rule_is_told_in_readme() -> None:
    assert all(f"| `{name}` |" in README for name in rule_catalog())


def test_top_level_is_as_agreed() -> None:
    names = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    built = {"out", "build", "dist"}
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "layoutgen", "configs", "tests"}
    assert names - built - {"LICENSE", "sample_gis"} == agreed


def test_import_is_quiet_and_version_is_told() -> None:
    call = [sys.executable, "-c", "import layoutgen; print(layoutgen.__version__)"]
    done = subprocess.run(call, capture_output=True, text=True, check=True, cwd=ROOT)
    assert re.fullmatch(r"\d+\.\d+\.\d+\n", done.stdout)
    assert json.dumps(done.stderr) == '""'
