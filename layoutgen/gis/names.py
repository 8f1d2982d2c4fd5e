"""Known column names and codes: `known_names.toml` and the shipped settings."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from layoutgen.config import read_raw, shipped
from layoutgen.gis.roles import ROLES


@cache
def known_names() -> dict[str, Any]:
    """Names and codes of `known_names.toml`, with the class codes of the shipped settings."""
    file = Path(__file__).with_name("known_names.toml")
    known = tomllib.loads(file.read_text(encoding="utf-8"))
    for name in ("osm", "tiger"):
        values = base_inputs(f"{name}.toml").get("streets", {}).get("values", {})
        known["codes"]["street_class"][name] = values.get("street_class", {})
    for joined in (known_role for known_role in ROLES if not known_role.geometry):
        own = known["fields"].setdefault(joined.name, {})
        own.setdefault("segment_id", known["fields"]["speed"]["segment_id"])
        for fld in joined.fields:
            own.setdefault(fld.name, known["fields"]["streets"][fld.name])
    return known


@cache
def base_inputs(name: str) -> dict[str, Any]:
    """Tables `[inputs.<role>]` of a shipped settings file; empty where none is shipped."""
    path = shipped(name)
    return dict(read_raw(path).table.get("inputs", {})) if path else {}


def plain_name(name: str) -> str:
    """Name without case and punctuation."""
    return re.sub(r"[^a-z0-9]", "", name.casefold())


def name_words(name: str) -> set[str]:
    """Words of a name: split at punctuation, at digits, and where lower case turns to upper."""
    spread = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z])", " ", name)
    return set(re.findall(r"[a-z0-9]+", spread.casefold()))
