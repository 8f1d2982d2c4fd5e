"""`configs/us_base.toml` as text: every default with its range and source, made from the code."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from layoutgen.config import Params
from layoutgen.export.formats import CAUTION
from layoutgen.markings.catalog import rule_catalog
from layoutgen.report import settings_rows, toml_value
from layoutgen.settings import CLASS_TABLES, SettingsBase
from layoutgen.street.cross_section import ClassDefaults
from layoutgen.work.materials import SHIPPED, MaterialParams

_HEADER = f"""\
# Base settings for the United States: every default of layoutgen, with its unit in the value, its
# allowed range, and the row of the standard or of trade practice it comes from (ids as in
# layoutgen/markings/standards.csv and layoutgen/work/operations.csv). "from memory" and "common
# practice" mark values without a source: check these first.
#
# A project file extends this one and overrides what its agency does differently:
#
#     extends = "us_base.toml"
#
# {CAUTION}
#
# Made by `layoutgen schema --toml`; a test keeps it equal to the code.
"""


def base_toml() -> str:
    """The whole file."""
    parts = [_HEADER, *_stage_tables(), *_class_tables(), *_rule_tables()]
    return "\n".join(parts)


def _stage_tables() -> Iterator[str]:
    for name, field in SettingsBase.model_fields.items():
        model: Any = field.annotation
        if name in ("project", "inputs", "defaults") or not isinstance(model, type):
            continue
        yield from _tables(name, model)
    for name, changes in SHIPPED.items():
        yield _table(f"materials.{name}", MaterialParams, changes)


def _tables(name: str, model: type[Params]) -> Iterator[str]:
    """A table, and those within it."""
    if settings_rows(model):
        yield _table(name, model, {})
    for key, field in model.model_fields.items():
        if isinstance(field.annotation, type) and issubclass(field.annotation, Params):
            yield from _tables(f"{name}.{key}", field.annotation)


def _class_tables() -> Iterator[str]:
    for name, changes in CLASS_TABLES.items():
        yield _table(f"defaults.{name}", ClassDefaults, changes)


def _rule_tables() -> Iterator[str]:
    for name, rule in rule_catalog().items():
        words = rule.text.split(". ")[0].rstrip(".")
        yield f"# {words}.\n" + _table(f"rules.{name}", rule.params, {})


def _table(name: str, model: type[Params], changes: Any) -> str:
    lines = [f"[{name}]"]
    for key, default, allowed, source, text in settings_rows(model):
        value = toml_value(changes[key]) if key in changes else default
        about = "; ".join(part for part in (text, allowed, source) if part)
        lines.append(f"{key} = {value}  # {about}")
    return "\n".join(lines) + "\n"
