"""The routes, a module for each matter: read the request, call the library, return its result."""
