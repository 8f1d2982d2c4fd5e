"""Exchange formats for dispatcher and desk."""
