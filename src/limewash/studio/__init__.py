"""The studio: the web app over the library, for the person at the house."""
