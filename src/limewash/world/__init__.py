"""A virtual house, projector and phone, with exact truth."""
