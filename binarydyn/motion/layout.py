"""Where things stand in the work arrays of the kernels."""

SIZE = 20
ARGUMENT, END, WEIGHT, DENSE = 17 * SIZE, 18 * SIZE, 19 * SIZE, 20 * SIZE
CLOCK = 27 * SIZE
BEGUN, ENDED = CLOCK + 1, CLOCK + 2
WORK = 28 * SIZE
IN_RATES = 13
NEVER = 1e300
