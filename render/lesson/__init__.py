"""From a lesson file to files."""
