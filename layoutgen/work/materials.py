"""Marking materials: film, beads, drying, limits of weather, life and price.

One entry of `[materials.<name>]` is a `MaterialParams`; six come with the program (`SHIPPED`).
Sprayed materials (paint, plural component) are counted in gallons of wet film, melts and sheets in
pounds. Drying is by air temperature. Amounts are for loading and bidding; what was painted is paid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from pydantic import Field, field_validator

from layoutgen.config import Params, choice, measure, number, parse_measure
from layoutgen.markings.marking import GROUNDS
from layoutgen.work.film import film_gal
from layoutgen.work.shipped_materials import FIGURES

Floats = NDArray[np.float64]
Points = tuple[tuple[float, float], ...]
#: forms that have a wet film
SPRAYED = ("paint", "plural")
#: pounds of a square foot at 1 mil and specific gravity 1: 62.43 lb/cu ft / 12,000 mil/ft
_LB_PER_SQFT_MIL = 62.43 / 12_000.0
#: lightest and heaviest melt or sheet that we believe (specific gravity, from memory)
_GRAVITY = (1.0, 3.0)

#: settings of the materials that come with the program, as a settings file writes them
SHIPPED: dict[str, dict[str, Any]] = {
    name: {key: value for key, (value, _) in figures.items()} for name, figures in FIGURES.items()
}


def _rate(default: float, high: float, unit: str, text: str, source: str = "design") -> Any:
    return number(default, low=0.0, high=high, source=source, unit=unit, text=text)


def _degrees(default: float, source: str, text: str) -> Any:
    return number(default, low=-20.0, high=200.0, source=source, unit="F", text=text)


def _price(default: float, text: str) -> Any:
    return number(default, low=0.0, high=1000.0, source="from memory", text=f"price of {text}")


def _points(written: Sequence[Sequence[Any]]) -> Points:
    """((air temperature F, minutes), ...) from ((77, "2 min"), ...).

    Raises:
        ValueError: no points, not pairs, a time without unit, or temperatures that do not rise.
    """
    if not isinstance(written, list | tuple) or not written:
        raise ValueError('expected points such as [[50, "10 min"], [77, "2 min"]]')
    points = tuple(_point(pair) for pair in written)
    if any(second[0] <= first[0] for first, second in pairwise(points)):
        raise ValueError("temperatures must rise from point to point")
    return points


def _point(pair: Any) -> tuple[float, float]:
    if not isinstance(pair, list | tuple) or len(pair) != 2:
        raise ValueError(f'expected a temperature in F and a time, [77, "2 min"], got {pair!r}')
    temp_f, time = pair
    is_number = isinstance(temp_f, int | float) and not isinstance(temp_f, bool)
    if not is_number or not math.isfinite(temp_f):
        raise ValueError(f"expected a temperature in F, got {temp_f!r}")
    if not isinstance(time, str):
        raise ValueError(f'the time needs a unit, e.g. "{time} min"')
    minutes = parse_measure(time, "time")
    if minutes < 0.0:
        raise ValueError(f"a time cannot be less than none, got {time!r}")
    return float(temp_f), minutes


def _by_temperature(written: Sequence[Sequence[Any]], source: str, text: str) -> Any:
    extra: dict[str, Any] = {
        "source": source,
        "default": [list(pair) for pair in written],
        "pairs_of": "F, time",
    }
    return Field(default=_points(written), description=text, json_schema_extra=extra)


class MaterialParams(Params):
    """One marking material; the defaults are those of waterborne paint."""

    form: Literal["paint", "plural", "melt", "sheet"] = choice(
        "paint",
        source="common practice",
        text="paint or plural component are sprayed, melt and sheet are weighed",
    )
    film_mil: float = measure(
        "film",
        "15 mil",
        low="4 mil",
        high="250 mil",
        source="OP-005",
        text="wet film, or thickness of melt or sheet",
    )
    beads_lb_per_gallon: float = _rate(
        6.0, 30.0, "lb/gal", "beads of the only or first drop, by paint", "OP-038"
    )
    beads_lb_per_100sqft: float = _rate(
        0.0, 60.0, "lb/100 sq ft", "the same by area; give one of the two"
    )
    bead_type: str = choice("Type 1", source="from memory", text="beads of the only or first drop")
    second_beads_lb_per_gallon: float = _rate(
        0.0, 30.0, "lb/gal", "beads of the second drop, by paint; none = single drop"
    )
    second_beads_lb_per_100sqft: float = _rate(
        0.0, 60.0, "lb/100 sq ft", "the same by area; give one of the two"
    )
    second_bead_type: str = choice("", source="OP-045", text="beads of the second drop")
    colors_without_beads: tuple[str, ...] = choice(
        tuple(GROUNDS), source="from memory", text="ground coats that take no beads; [] = all do"
    )
    no_track_min: Points = _by_temperature(
        ((50, "10 min"), (77, "2 min")),
        "OP-060",
        "until tires do not mark it, by air temperature F; the row is for 77 F",
    )
    dry_min: Points = _by_temperature(
        ((50, "30 min"), (77, "10 min")),
        "OP-059",
        "until it may be painted over, by air temperature F; the row is for 77 F, no beads",
    )
    pounds_per_sqft: float = _rate(0.0, 10.0, "lb/sq ft", "weight of melt or sheet")
    primer_mil: float = measure(
        "film", "0 mil", low="0 mil", high="20 mil", source="design", text="wet primer; 0 = none"
    )
    primer_on: Literal["none", "asphalt", "concrete", "all"] = choice(
        "none", source="design", text="pavement that needs primer"
    )
    waste_percent: float = _rate(
        0.0, 30.0, "%", "added to what is painted: hoses, kettle, cleaning", "OP-013"
    )
    min_air_f: float = _degrees(40.0, "OP-069", "least air temperature")
    max_air_f: float = _degrees(95.0, "OP-069", "highest air temperature")
    min_pavement_f: float = _degrees(40.0, "OP-069", "least pavement temperature")
    max_pavement_f: float = _degrees(95.0, "OP-069", "highest pavement temperature")
    max_humidity_percent: float = _rate(
        85.0, 100.0, "%", "highest relative humidity", "from memory"
    )
    dew_margin_f: float = _rate(
        5.0, 30.0, "F", "pavement above the dew point by at least this", "OP-068"
    )
    life_years: float = number(
        1.0, low=0.1, high=20.0, source="OP-192", unit="years", text="service life"
    )
    white_price_per_gallon: float = _price(20.0, "a gallon of white")
    yellow_price_per_gallon: float = _price(20.0, "a gallon of yellow")
    green_price_per_gallon: float = _price(60.0, "a gallon of green")
    other_price_per_gallon: float = _price(30.0, "a gallon of other colors")
    price_per_lb: float = _price(0.0, "a pound of melt or sheet")
    beads_price_per_lb: float = _price(0.75, "a pound of beads")
    primer_price_per_gallon: float = _price(40.0, "a gallon of primer")
    note: str = choice("", source="design", text="what the crew must know")

    @field_validator("no_track_min", "dry_min", mode="before")
    @classmethod
    def _table(cls, value: Any) -> Points:
        return _points(value)

    def price_per_gallon(self, color: str) -> float:
        """Price of a gallon of a color."""
        return float(getattr(self, f"{color}_price_per_gallon", self.other_price_per_gallon))

    def is_sprayed(self) -> bool:
        """True where amounts are gallons of wet film, False where they are pounds."""
        return self.form in SPRAYED

    def needs_primer(self, pavement: str) -> bool:
        """Primer under this material on asphalt or concrete."""
        return self.primer_mil > 0.0 and self.primer_on in ("all", pavement)


def shipped_materials() -> dict[str, MaterialParams]:
    """The materials that come with the program, by name."""
    return {name: MaterialParams.model_validate(table) for name, table in SHIPPED.items()}


def source_of(name: str, key: str) -> str:
    """Where a figure of a shipped material is from; `key` as in a settings file.

    Raises:
        KeyError: no such material or key.
    """
    if key in FIGURES[name]:
        return FIGURES[name][key][1]
    sources = {
        str(field.alias): field.json_schema_extra for field in MaterialParams.model_fields.values()
    }
    extra = sources[key]
    assert isinstance(extra, dict)
    return str(extra["source"])


def drying(material: MaterialParams, temp_f: float, color: str = "white") -> tuple[float, float]:
    """(minutes to no-track, minutes to dry) at an air temperature; the ends of a table are held.

    Beads keep tires off the film (row OP-060); a color that takes none is tracked until it is dry.
    """
    no_track, dry = _at(material.no_track_min, temp_f), _at(material.dry_min, temp_f)
    return (max(no_track, dry) if color in material.colors_without_beads else no_track), dry


def amounts(
    area_sqft: ArrayLike, color: ArrayLike, material: MaterialParams, pavement: str = "asphalt"
) -> pd.DataFrame:
    """What painted areas take, waste included; one row per area, numbered from 0.

    Args:
        area_sqft: painted areas, shape (n,).
        color: their colors, shape (n,).
        material: the material of all of them.
        pavement: asphalt or concrete, of all of them; decides the primer.

    Returns:
        paint_gal, beads_lb (first drop), beads2_lb (second drop), primer_gal, weight_lb, cost.
    """
    gross = np.asarray(area_sqft, dtype=float) * (1.0 + material.waste_percent / 100.0)
    colors = pd.Series(np.asarray(color, dtype=object)).fillna("").astype(str)
    none = np.zeros_like(gross)
    paint = film_gal(gross, material.film_mil) if material.is_sprayed() else none
    beaded = ~colors.isin(material.colors_without_beads).to_numpy()
    out = pd.DataFrame(
        {
            "paint_gal": paint,
            "beads_lb": beaded * _first_drop_lb(paint, gross, material),
            "beads2_lb": beaded * _second_drop_lb(paint, gross, material),
            "primer_gal": film_gal(gross, material.primer_mil)
            if material.needs_primer(pavement)
            else none,
            "weight_lb": none if material.is_sprayed() else gross * material.pounds_per_sqft,
        }
    )
    return out.assign(cost=_cost(out, colors, material))


def beads_text(material: MaterialParams) -> str:
    """Bead types and rates in words, "Type 3 15.5 lb/100 sq ft, then Type 2 ..."; "none"."""
    drops = (
        (material.bead_type, material.beads_lb_per_gallon, material.beads_lb_per_100sqft),
        (
            material.second_bead_type,
            material.second_beads_lb_per_gallon,
            material.second_beads_lb_per_100sqft,
        ),
    )
    texts = [_drop_text(*drop) for drop in drops if drop[1] or drop[2]]
    return ", then ".join(texts) or "none"


def faults(params: MaterialParams) -> list[str]:
    """What does not fit together in one material, a sentence each; empty = nothing."""
    return [
        *_bead_faults(params),
        *_weight_faults(params),
        *_primer_faults(params),
        *_limit_faults(params),
        *_drying_faults(params),
    ]


def _at(points: Points, temp_f: float) -> float:
    temps, minutes = zip(*points, strict=True)
    return float(np.interp(temp_f, temps, minutes))


def _first_drop_lb(paint_gal: Floats, area_sqft: Floats, m: MaterialParams) -> Floats:
    by_area = area_sqft * m.beads_lb_per_100sqft / 100.0
    return by_area if m.beads_lb_per_100sqft else paint_gal * m.beads_lb_per_gallon


def _second_drop_lb(paint_gal: Floats, area_sqft: Floats, m: MaterialParams) -> Floats:
    by_area = area_sqft * m.second_beads_lb_per_100sqft / 100.0
    return by_area if m.second_beads_lb_per_100sqft else paint_gal * m.second_beads_lb_per_gallon


def _cost(out: pd.DataFrame, colors: pd.Series[str], m: MaterialParams) -> pd.Series[float]:
    prices = colors.map({c: m.price_per_gallon(c) for c in colors.unique()}).astype(float)
    return (
        out["paint_gal"] * prices
        + (out["beads_lb"] + out["beads2_lb"]) * m.beads_price_per_lb
        + out["primer_gal"] * m.primer_price_per_gallon
        + out["weight_lb"] * m.price_per_lb
    )


def _drop_text(bead_type: str, per_gallon: float, per_100sqft: float) -> str:
    rate = f"{per_100sqft:g} lb/100 sq ft" if per_100sqft else f"{per_gallon:g} lb/gal"
    return f"{bead_type} {rate}".strip()


def _bead_faults(m: MaterialParams) -> list[str]:
    out = []
    for name in ("beads_lb_per", "second_beads_lb_per"):
        gallon, area = getattr(m, f"{name}_gallon"), getattr(m, f"{name}_100sqft")
        if gallon and area:
            out.append(f"{name}_gallon and {name}_100sqft are both set; set one of them to 0.")
        if gallon and not m.is_sprayed():
            out.append(f"{name}_gallon: a {m.form} has no gallons; use {name}_100sqft.")
    first = m.beads_lb_per_gallon or m.beads_lb_per_100sqft
    second = m.second_beads_lb_per_gallon or m.second_beads_lb_per_100sqft
    if second and not first:
        out.append("a second drop of beads without a first; set the rate of the first drop.")
    return out


def _weight_faults(m: MaterialParams) -> list[str]:
    if m.is_sprayed():
        weighed = f"pounds_per_sqft: {m.form} is counted in gallons; leave it 0."
        return [weighed] if m.pounds_per_sqft else []
    gravity = m.pounds_per_sqft / (m.film_mil * _LB_PER_SQFT_MIL)
    if _GRAVITY[0] <= gravity <= _GRAVITY[1]:
        return []
    return [
        f"pounds_per_sqft: {m.pounds_per_sqft:g} lb/sq ft at {m.film_mil:g} mil is {gravity:.2f} "
        f"times as heavy as water; expected {_GRAVITY[0]:g} to {_GRAVITY[1]:g}."
    ]


def _primer_faults(m: MaterialParams) -> list[str]:
    if (m.primer_mil > 0.0) == (m.primer_on != "none"):
        return []
    return ["primer and primer_on must both be set, or neither."]


def _limit_faults(m: MaterialParams) -> list[str]:
    pairs = {"air": (m.min_air_f, m.max_air_f), "pavement": (m.min_pavement_f, m.max_pavement_f)}
    return [
        f"min_{name}_f is {low:g} and max_{name}_f {high:g}: no hour can be open."
        for name, (low, high) in pairs.items()
        if low >= high
    ]


def _drying_faults(m: MaterialParams) -> list[str]:
    temps = sorted({t for t, _ in (*m.no_track_min, *m.dry_min)})
    early = [t for t in temps if drying(m, t)[0] > drying(m, t)[1]]
    if not early:
        return []
    return [f"dry is shorter than no_track at {early[0]:g} F; make it at least as long."]
