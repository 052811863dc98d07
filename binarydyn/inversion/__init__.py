"""What published numbers of a pair say together of the impact and of the bodies, and what they cannot tell."""
