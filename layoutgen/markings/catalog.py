"""The rules there are: a scan of `markings/rules`, one file per marking."""

from __future__ import annotations

import csv
import importlib
import pkgutil
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from importlib.resources import files

from layoutgen.markings import rules
from layoutgen.markings.marking import Rule


@cache
def rule_catalog() -> Mapping[str, Rule]:
    """Rule name (its file name) -> rule, sorted by name.

    Raises:
        TypeError: a file in the folder does not offer `RULE`.
    """
    out = {}
    for found in sorted(pkgutil.iter_modules(rules.__path__), key=lambda m: m.name):
        module = importlib.import_module(f"{rules.__name__}.{found.name}")
        rule = getattr(module, "RULE", None)
        if not isinstance(rule, Rule):
            raise TypeError(f"markings/rules/{found.name}.py offers no RULE")
        text = (module.__doc__ or "").strip().split("\n\n")[0]
        out[found.name] = replace(rule, text=" ".join(text.split()))
    return out


@cache
def standard_rows() -> Mapping[str, Mapping[str, str]]:
    """Row id -> row of the standards table that ships with the program."""
    text = files("layoutgen.markings").joinpath("standards.csv").read_text(encoding="utf-8")
    return {row["id"]: row for row in csv.DictReader(text.splitlines())}
