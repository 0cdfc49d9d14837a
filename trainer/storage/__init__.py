"""Records, drill files, settings, and the folders they live in."""
