"""What to load for a shift, and what the crew must know of its materials."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from layoutgen.config import Params, measure, number
from layoutgen.gis.schema import layer
from layoutgen.work.materials import MaterialParams, beads_text, drying

_DIGITS = 4


class LoadParams(Params):
    """What a shift takes besides paint and beads."""

    water_gal: float = measure(
        "volume",
        "5 gal",
        low="0 gal",
        high="500 gal",
        source="from memory",
        text="water, every day",
    )
    water_per_change_gal: float = measure(
        "volume",
        "1 gal",
        low="0 gal",
        high="50 gal",
        source="from memory",
        text="water to flush between two colors",
    )
    tips_per_color: int = number(
        2, low=0, high=20, source="from memory", text="spare tips for every color of the day"
    )


def loads_table(
    tours: pd.DataFrame,
    jobs: pd.DataFrame,
    sections: pd.DataFrame,
    settings: tuple[LoadParams, Mapping[str, MaterialParams]],
) -> pd.DataFrame:
    """Layer `loads`: sums over the sections of every tour, cones and signs the most of any job.

    Args:
        tours: layer, column tour_id.
        jobs: layer, columns job_id, tour_id, cones, signs, arrow_board.
        sections: layer, columns job_id, color, material and amounts.
        settings: `[loads]`, and the materials by name.
    """
    place = jobs[["job_id", "tour_id", "sequence"]].rename(columns={"sequence": "visit"})
    by_tour = sections.merge(place, on="job_id", how="inner").sort_values(["visit", "sequence"])
    rows: list[dict[str, Any]] = []
    for tour_id in tours["tour_id"]:
        own = by_tour[by_tour["tour_id"] == tour_id]
        rows += [{"tour_id": tour_id, **row} for row in _paint(own, settings[1])]
        rows += [{"tour_id": tour_id, **row} for row in _beads(own, settings[1])]
        rows += [{"tour_id": tour_id, **row} for row in _water(own, settings[0])]
        rows += [{"tour_id": tour_id, **row} for row in _cones(jobs[jobs["tour_id"] == tour_id])]
    return pd.DataFrame(rows, columns=[column.name for column in layer("loads").columns])


def materials_table(
    sections: pd.DataFrame, materials: Mapping[str, MaterialParams], air_f: float
) -> pd.DataFrame:
    """Layer `materials`: those that sections use, with drying at the planned air temperature."""
    names = sorted(sections["material"].unique()) if len(sections) else []
    rows = [_material_row(str(name), materials[str(name)], air_f) for name in names]
    return pd.DataFrame(rows, columns=[column.name for column in layer("materials").columns])


def _material_row(name: str, material: MaterialParams, air_f: float) -> dict[str, Any]:
    no_track, dry = drying(material, air_f)
    return {
        "material": name,
        "form": material.form,
        "film_mil": material.film_mil,
        "beads": beads_text(material),
        "no_track_min": no_track,
        "dry_min": dry,
        "min_air_f": material.min_air_f,
        "max_air_f": material.max_air_f,
        "min_pavement_f": material.min_pavement_f,
        "max_pavement_f": material.max_pavement_f,
        "max_humidity_percent": material.max_humidity_percent,
        "dew_margin_f": material.dew_margin_f,
        "life_years": material.life_years,
        "note": material.note,
    }


def _row(item: str, amount: float, unit: str, note: str, **more: str) -> dict[str, Any]:
    empty = {"color": "", "material": ""}
    figures = {"amount": round(float(amount), _DIGITS), "unit": unit, "note": note}
    return {"item": item, **empty, **more, **figures}


def _paint(own: pd.DataFrame, materials: Mapping[str, MaterialParams]) -> Iterator[dict[str, Any]]:
    """Paint, melt or sheet by color and material, then primer."""
    for (color, name), part in own.groupby(["color", "material"], sort=True):
        named = {"color": str(color), "material": str(name)}
        note = f"sum of {len(part)} sections; add your own reserve"
        if materials[str(name)].is_sprayed():
            yield _row("paint", part["paint_gal"].sum(), "gal", note, **named)
        else:
            yield _row(materials[str(name)].form, part["weight_lb"].sum(), "lb", note, **named)
    if own["primer_gal"].sum() > 0.0:
        yield _row(
            "primer", own["primer_gal"].sum(), "gal", "before the material, where it is asked"
        )


def _beads(own: pd.DataFrame, materials: Mapping[str, MaterialParams]) -> Iterator[dict[str, Any]]:
    for name, part in own.groupby("material", sort=True):
        amount = part["beads_lb"].sum()
        if amount > 0.0:
            note = f"for {name}; both drops together where there are two"
            yield _row("beads", amount, "lb", note, material=beads_text(materials[str(name)]))


def _water(own: pd.DataFrame, params: LoadParams) -> Iterator[dict[str, Any]]:
    """Water and tips; `own` is in the order of work."""
    changes = max(int(own["color"].ne(own["color"].shift()).sum()) - 1, 0)
    colors = own["color"].nunique()
    water = params.water_gal + params.water_per_change_gal * changes
    yield _row("water", water, "gal", f"cleaning, and {changes} flushes between colors")
    yield _row("spare tips", params.tips_per_color * colors, "pieces", f"for {colors} colors")


def _cones(jobs: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """The most that any job of the day takes; the authority's plan rules."""
    note = "most at one visit, estimate; the road authority's traffic control plan rules"
    most = jobs[["cones", "signs", "arrow_board"]].max().fillna(0)
    height = int(jobs["cone_in"].max()) if len(jobs) else 0
    yield _row("cones", most["cones"], "pieces", note, material=f"{height} in or higher")
    yield _row("signs", most["signs"], "pieces", note)
    yield _row("arrow board", most["arrow_board"], "pieces", note)
