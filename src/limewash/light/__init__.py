"""Light: photometry, colour, materials."""
