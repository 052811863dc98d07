"""What measured event times say: longitudes, the count of turns, the kinematic fit of the orbit about the impact."""
