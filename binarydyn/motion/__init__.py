"""What moves: the state of two bodies, their equations of motion, what perturbs them."""
