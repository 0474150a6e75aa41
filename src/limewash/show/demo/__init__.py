"""The bundled scores."""
