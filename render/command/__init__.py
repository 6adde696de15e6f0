"""The command line: a module for each command, what they have in common in `options` and `report`."""
