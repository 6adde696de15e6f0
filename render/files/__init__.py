"""Files written whole, work in parallel, interruptions."""
