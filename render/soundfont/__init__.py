"""Soundfonts: their files, the synthesizer, recorded samples."""
