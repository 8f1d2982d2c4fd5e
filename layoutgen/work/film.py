"""Wet film: area, thickness, gallons.

Wet paint is area times film thickness and nothing else (rows OP-001 to OP-036 of `operations.csv`
all follow from it): one US gallon is 231 cubic inches, so at 1 mil it covers 1604.17 square feet.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: square feet that one gallon covers at 1 mil: 231 cu in / (144 sq in x 0.001 in), row OP-001
SQFT_PER_GAL_AT_1_MIL = 231.0 / (144.0 * 0.001)


def film_gal(area_sqft: ArrayLike, film_mil: float) -> NDArray[np.float64]:
    """Gallons of wet paint on an area, film in mils (row OP-001)."""
    return np.asarray(np.asarray(area_sqft, dtype=float) * film_mil / SQFT_PER_GAL_AT_1_MIL)
