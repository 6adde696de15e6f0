"""The command line: what it reads and what it prints."""
