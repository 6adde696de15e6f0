"""From a performance to sound and MIDI files."""
