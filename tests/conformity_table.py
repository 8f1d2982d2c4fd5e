"""markings/CONFORMITY.md: what the program does about every row of the standard."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel

from layoutgen.markings.audit import all_checks
from layoutgen.markings.catalog import standard_rows
from layoutgen.settings import settings_model

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "layoutgen" / "markings"
#: rows of these kinds ask nothing of a marking that a layout could show
NOT_ASKED = ("not_a_marking", "memory_only", "superseded")
_ROW = re.compile(r"\b[A-Z]{3,8}-\d\d\b")


@cache
def out_of_scope() -> Mapping[str, tuple[str, str]]:
    """Row id -> (kind, reason)."""
    with (FOLDER / "out_of_scope.csv").open(encoding="utf-8", newline="") as file:
        return {row["row"]: (row["kind"], row["reason"]) for row in csv.DictReader(file)}


@cache
def settings_by_row() -> Mapping[str, tuple[str, ...]]:
    """Row id -> dotted names of the settings that name it as their source."""
    out: dict[str, dict[str, None]] = {}
    for name, source in _sources(settings_model(), ""):
        for row in _ROW.findall(source):
            out.setdefault(row, {})[name] = None
    return {row: tuple(names) for row, names in out.items()}


@cache
def checks_by_row() -> Mapping[str, tuple[str, ...]]:
    """Row id -> what the audit asks."""
    out: dict[str, dict[str, None]] = {}
    for check in all_checks():
        out.setdefault(check.row, {})[check.text] = None
    return {row: tuple(texts) for row, texts in out.items()}


@cache
def tests_by_row() -> Mapping[str, tuple[str, ...]]:
    """Row id -> test files that name it."""
    out: dict[str, list[str]] = {}
    files = [*ROOT.glob("tests/**/test_*.py"), *ROOT.glob("tests/cases/*.toml")]
    for path in sorted(files):
        for row in sorted(set(_ROW.findall(path.read_text(encoding="utf-8")))):
            out.setdefault(row, []).append(path.relative_to(ROOT / "tests").as_posix())
    return {row: tuple(names) for row, names in out.items()}


def asked_share() -> tuple[int, int]:
    """(shall rows on markings that the audit asks, all shall rows on markings)."""
    shall = [
        name
        for name, row in standard_rows().items()
        if row["strength"].startswith("standard")
        and out_of_scope().get(name, ("", ""))[0] not in NOT_ASKED
    ]
    return sum(name in checks_by_row() for name in shall), len(shall)


def state_of(row: str) -> str:
    """`asked`, the kind of reason it is not, `settings`, `tests`, or `open`."""
    if row in checks_by_row():
        return "asked"
    if row in out_of_scope():
        return out_of_scope()[row][0]
    if row in settings_by_row():
        return "settings"
    return "tests" if row in tests_by_row() else "open"


def conformity() -> str:
    """The file."""
    rows = standard_rows()
    done, total = asked_share()
    lines = [
        "# Rows of the standard, and what the program does about them",
        "",
        "Made by `python tests/make_docs.py`; a test compares it. A row is asked by the audit,",
        "or `out_of_scope.csv` says why it is not.",
        "",
        f"Of the {total} shall rows on markings, {done} ({done / total:.1%}) are asked "
        "by the audit.",
        "",
        *_counts(rows),
        "",
        "| row | what | strength | settings | audit asks | tests | not asked because |",
        "|---|---|---|---|---|---|---|",
        *(_line(name, row) for name, row in rows.items()),
    ]
    return "\n".join(lines) + "\n"


def _counts(rows: Mapping[str, Mapping[str, str]]) -> list[str]:
    found: dict[str, Counter[str]] = {}
    for name, row in rows.items():
        found.setdefault(row["strength"].split(" ")[0].split("/")[0], Counter())[
            state_of(name)
        ] += 1
    states = sorted({state for counter in found.values() for state in counter})
    lines = [
        f"| strength | rows | {' | '.join(states)} |",
        f"|---|---|{'---|' * len(states)}",
    ]
    for strength, counter in sorted(found.items()):
        cells = " | ".join(str(counter[state]) for state in states)
        lines.append(f"| {strength} | {counter.total()} | {cells} |")
    return lines


def _line(name: str, row: Mapping[str, str]) -> str:
    settings = ", ".join(f"`{key}`" for key in settings_by_row().get(name, ()))
    asked = "; ".join(checks_by_row().get(name, ()))
    tests = ", ".join(tests_by_row().get(name, ()))
    kind, reason = out_of_scope().get(name, ("", ""))
    why = f"{kind}: {reason}" if kind else ("open" if state_of(name) == "open" else "")
    what = f"{row['item']}: {row['value']} {row['unit'].strip('-')}".strip()
    cells = (name, what, row["strength"], settings, asked, tests, why)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _sources(model: type[BaseModel], before: str) -> Iterator[tuple[str, str]]:
    """(dotted name, source) of every setting below a model."""
    for name, field in model.model_fields.items():
        extra = field.json_schema_extra
        if isinstance(extra, dict) and "source" in extra:
            yield before + name, str(extra["source"])
        for inner in _models(field.annotation):
            yield from _sources(inner, f"{before}{name}.")


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _models(inner)
