"""Markings: records, rules, shapes, symbols, and the engine that draws them."""
