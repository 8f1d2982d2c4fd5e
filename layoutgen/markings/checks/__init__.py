"""Checks of marking families that need more room than their rule file has."""
