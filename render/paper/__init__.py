"""Scores and charts on paper."""
