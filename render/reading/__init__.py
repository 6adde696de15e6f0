"""Reading lines from notation and MIDI files."""
