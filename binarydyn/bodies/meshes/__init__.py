"""Triangle meshes from files: reading them, and deciding whether they bound one solid."""
