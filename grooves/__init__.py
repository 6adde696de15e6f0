"""Written rhythm, grooves and feel: what is played, when and how loud, without a sound or a file."""
