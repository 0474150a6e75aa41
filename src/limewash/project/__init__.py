"""The project folder: what a house, its rigs and its files are."""
