"""Takes from files: recordings of a kit's pads or of a microphone become strokes."""
