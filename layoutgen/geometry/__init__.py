"""Exact plane geometry, vectorised; does not know that streets exist."""
