"""Marking materials that come with the program, each figure with where it is from.

`FIGURES[material][key] = (value as written in a settings file, source)`. A key that is not named
here keeps the default of `materials.MaterialParams`, which describes waterborne paint. Sources are
rows of `operations.csv`; a row that gives a range or a bound leaves the figure within it to us.
"""

from __future__ import annotations

from typing import Any

_MEMORY = "from memory"
_PRACTICE = "common practice"

FIGURES: dict[str, dict[str, tuple[Any, str]]] = {
    "waterborne": {"form": ("paint", _PRACTICE)},
    "high_build": {
        "form": ("paint", _PRACTICE),
        "film": ("32 mil", "OP-009"),
        "beads_lb_per_gallon": (10.0, "from memory"),
        "bead_type": ("Type 3", "from memory"),
        # a film twice as thick; no row
        "no_track": ([[50.0, "20 min"], [77.0, "5 min"]], _MEMORY),
        "dry": ([[50.0, "60 min"], [77.0, "20 min"]], _MEMORY),
        "min_air_f": (50.0, "OP-071"),
        "min_pavement_f": (50.0, "OP-071"),
        "life_years": (2.0, _MEMORY),
        "white_price_per_gallon": (25.0, _MEMORY),
        "yellow_price_per_gallon": (25.0, _MEMORY),
        "green_price_per_gallon": (65.0, _MEMORY),
        "other_price_per_gallon": (35.0, _MEMORY),
        "note": ("may need two coats", "OP-009"),
    },
    "epoxy": {
        "form": ("plural", _PRACTICE),
        "film": ("20 mil", "OP-028"),
        "beads_lb_per_gallon": (0.0, "OP-044"),
        # 31 lb in two sizes of equal weight, the large one first
        "beads_lb_per_100sqft": (15.5, "OP-044"),
        "bead_type": ("Type 3", "OP-045"),
        "second_beads_lb_per_100sqft": (15.5, "OP-044"),
        "second_bead_type": ("Type 2", "OP-045"),
        # the row gives 10 to 45 min without a temperature
        "no_track": ([[50.0, "45 min"], [77.0, "20 min"], [95.0, "10 min"]], "OP-064"),
        "dry": ([[50.0, "4 h"], [77.0, "2 h"], [95.0, "1 h"]], _MEMORY),
        "min_air_f": (50.0, "OP-073"),
        "min_pavement_f": (50.0, "OP-073"),
        "max_air_f": (100.0, _MEMORY),
        "max_pavement_f": (120.0, _MEMORY),
        "life_years": (3.0, "OP-191"),
        "white_price_per_gallon": (45.0, _MEMORY),
        "yellow_price_per_gallon": (45.0, _MEMORY),
        "green_price_per_gallon": (80.0, _MEMORY),
        "other_price_per_gallon": (60.0, _MEMORY),
        "note": ("a busy crossing may be closed much longer, up to a day", "OP-063"),
    },
    "mma": {
        "form": ("plural", _PRACTICE),
        "film": ("40 mil", _MEMORY),
        "beads_lb_per_gallon": (10.0, _MEMORY),
        "bead_type": ("Type 1", _MEMORY),
        "no_track": ([[50.0, "45 min"], [77.0, "25 min"], [95.0, "15 min"]], "OP-065"),
        "dry": ([[50.0, "60 min"], [77.0, "45 min"], [95.0, "30 min"]], _MEMORY),
        "min_air_f": (40.0, _MEMORY),
        "min_pavement_f": (40.0, _MEMORY),
        "max_air_f": (100.0, _MEMORY),
        "max_pavement_f": (120.0, _MEMORY),
        "life_years": (5.0, _MEMORY),
        "white_price_per_gallon": (60.0, _MEMORY),
        "yellow_price_per_gallon": (60.0, _MEMORY),
        "green_price_per_gallon": (90.0, _MEMORY),
        "other_price_per_gallon": (75.0, _MEMORY),
    },
    "thermoplastic": {
        "form": ("melt", _PRACTICE),
        "film": ("125 mil", "OP-050"),
        "pounds_per_sqft": (1.301, "OP-056"),
        "beads_lb_per_gallon": (0.0, "design"),
        "beads_lb_per_100sqft": (8.0, _MEMORY),
        "bead_type": ("Type 1", _MEMORY),
        # it sets by cooling, so a warm day is the slow one
        "no_track": ([[50.0, "2 min"], [77.0, "5 min"], [95.0, "10 min"]], _MEMORY),
        "dry": ([[50.0, "2 min"], [77.0, "5 min"], [95.0, "10 min"]], _MEMORY),
        "primer": ("5 mil", "OP-011"),
        "primer_on": ("all", "OP-011; OP-012"),
        "min_air_f": (50.0, _MEMORY),
        "min_pavement_f": (55.0, _MEMORY),
        "max_air_f": (110.0, _MEMORY),
        "max_pavement_f": (150.0, _MEMORY),
        "life_years": (3.0, "OP-193"),
        "price_per_lb": (1.0, _MEMORY),
        "note": ("primer sets in less than 10 min; melt at 375 to 425 F", "OP-052; OP-053"),
    },
    "preformed": {
        "form": ("sheet", _PRACTICE),
        "film": ("125 mil", _MEMORY),
        "pounds_per_sqft": (1.301, "OP-056"),
        "beads_lb_per_gallon": (0.0, _MEMORY),
        "no_track": ([[50.0, "3 min"], [77.0, "5 min"], [95.0, "10 min"]], _MEMORY),
        "dry": ([[50.0, "3 min"], [77.0, "5 min"], [95.0, "10 min"]], _MEMORY),
        "primer": ("5 mil", _MEMORY),
        "primer_on": ("concrete", _MEMORY),
        "min_air_f": (45.0, "OP-086"),
        "min_pavement_f": (45.0, "OP-086"),
        "max_air_f": (110.0, _MEMORY),
        "max_pavement_f": (150.0, _MEMORY),
        "life_years": (3.0, "OP-193"),
        # $2,000 for 450 sq ft is $4.44 a square foot; by 1.301 lb/sq ft
        "price_per_lb": (3.42, "OP-108; OP-056"),
        "note": ("pieces of 2 x 3 ft, melted on by torch", "OP-086"),
    },
}
