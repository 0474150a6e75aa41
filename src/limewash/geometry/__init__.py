"""Numbers only: devices, homographies, paths, rays."""
