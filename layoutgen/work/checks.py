"""What the settings of the work must agree on before a run."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from layoutgen.config import Raw, nearest
from layoutgen.errors import ConfigError
from layoutgen.work.materials import MaterialParams, faults
from layoutgen.work.quantities import PAINT_WHERE, PaintParams


def check_weather(file: str, start_date: str, raw: Raw) -> None:
    """Hours need dates to be held against.

    Raises:
        ConfigError: a file of hours that is not there, or without a first date.
    """
    place = raw.place(("weather", "file"))
    if file and not Path(file).is_file():
        raise ConfigError(f"{place}: weather.file: {file}: no such file. Leave it empty for none.")
    if file and not start_date:
        raise ConfigError(
            f"{place}: weather.file: hours need dates. Set tours.start_date to the first day."
        )


def check_materials(materials: Mapping[str, MaterialParams], paint: PaintParams, raw: Raw) -> None:
    """Materials must fit together, and `[paint]` name materials and attributes that exist.

    Raises:
        ConfigError: every fault, one line each.
    """
    told = [
        f"{raw.place(('materials', name))}: materials.{name}: {fault}"
        for name, params in materials.items()
        for fault in faults(params)
    ]
    for i, case in enumerate(paint.cases):
        place = f"{raw.place(('paint', 'cases'))}: paint.cases[{i}]"
        if not isinstance(case.get("where"), dict) or set(case) != {"where", "material"}:
            told.append(f'{place}: needs where = {{ ... }} and material = "NAME", nothing else.')
            continue
        bad = [name for name in case["where"] if name not in PAINT_WHERE]
        told += [f"{place}: where.{n}: no such attribute.{nearest(n, PAINT_WHERE)}" for n in bad]
    for name in paint.names():
        if name not in materials:
            hint = nearest(name, tuple(materials))
            told.append(f"{raw.place(('paint',))}: paint: no material '{name}'.{hint}")
    if told:
        raise ConfigError("\n".join(told))
