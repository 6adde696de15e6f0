"""The lesson page."""
