"""How hard a bar is, who sounds together, steps up to it, lines by level."""
