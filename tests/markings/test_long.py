"""Lines along the street measured on the paint against rows of the standard."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from scenes import SCENES, PLANE, layout_of

from layoutgen.markings.audit import audit
from layoutgen.markings.conformity import Paint

LEFT = {"project": {"driving_side": "left"}}
