"""The tracing of a house front, and its transfer to projector pixels."""
