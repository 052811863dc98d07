"""The books of a hit: masses, energies and angular momenta, and what beta is called."""
