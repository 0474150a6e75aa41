"""Where to put which projector, and a card to put it back exactly."""
