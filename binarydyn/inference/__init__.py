"""What the observed says of the cause: a measured change back to the velocity change and to beta, and whose uncertainty
it is."""
