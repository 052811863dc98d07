"""Event times where a body is no plain ellipsoid."""
