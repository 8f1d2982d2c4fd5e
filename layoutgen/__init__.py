"""Street-marking layouts, jobs and truck tours from open street data and a rules file."""

__version__ = "0.1.0"
