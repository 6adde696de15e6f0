"""A band to play with: chords, forms, bass, comping and melody, as pure data at exact places."""
