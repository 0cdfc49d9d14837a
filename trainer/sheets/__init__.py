"""What is printed or sent: engraved pages, and music as files for other programs."""
