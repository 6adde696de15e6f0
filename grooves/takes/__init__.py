"""A take, what a student played, matched with its lesson, and what it says."""
