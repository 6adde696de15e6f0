"""Everything that leaves the house: MIDI, sound, notation, charts, pages and the command line."""
