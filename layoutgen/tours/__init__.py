"""Truck tours: travel times, the solver seam, tours."""
