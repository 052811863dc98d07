"""Where numbers stand in the arrays that kernels work on: state y, constants k, coefficients c, work arrays w.

Letters are places for kernels, words are slices for everything else.  A work array holds slots of 20 numbers.  In lanes
each number stands eight times side by side, once for each member: number n of lane l at w[n * LANES + l].
"""

from __future__ import annotations

# y (20,): position and velocity of the secondary from the primary, attitude and spin of both; its rates stand alike.
R, V, Q1, W1, Q2, W2, SIZE = 0, 3, 6, 10, 13, 17, 20
POSITION, VELOCITY = slice(R, V), slice(V, Q1)
ATTITUDE1, RATE1 = slice(Q1, W1), slice(W1, Q2)
ATTITUDE2, RATE2 = slice(Q2, W2), slice(W2, SIZE)

# k (19,): G (M1 + M2); of both bodies G M1 M2 / I and the asymmetries (I_y - I_z) / I_x, cyclic; then I / (G M1 M2).
GM, F1, A1, F2, A2, I1, I2, CONSTANTS = 0, 1, 4, 7, 10, 13, 16, 19
PER_INERTIA1, SPIN1 = slice(F1, A1), slice(F1, F2)
PER_INERTIA2, SPIN2 = slice(F2, A2), slice(F2, I1)
IN_RATES = I1
"""How many of them the right-hand side reads; energy and angular momentum read all."""
# with perturbations (34,): the Sun's, the drag's, the lag's.
SUN, DRAG, LAG = CONSTANTS, CONSTANTS + 10, CONSTANTS + 14

# w of Runge-Kutta: state, slopes k1 .. k16, argument of the next slope, state at the end of the step, weights of the
# error norm, seven coefficients of the interpolant; then times: now, of the step's start, of its end.
FIRST_SLOPE, LAST_SLOPE = SIZE, 13 * SIZE
ARGUMENT, END, WEIGHT, DENSE = 17 * SIZE, 18 * SIZE, 19 * SIZE, 20 * SIZE
CLOCK = 27 * SIZE
BEGUN, ENDED = CLOCK + 1, CLOCK + 2
WORK = 28 * SIZE

# What a run remembers between blocks: time and its rounding error, next step, how much longer the one after may be
# (Gauss: the last step, 0 if there is none), attempts, evaluations, samples taken.
TIME, TIME_ERROR, STEP, GROWTH, STEPS, EVALUATIONS, SAMPLES, PROGRESS = range(8)
BEFORE = GROWTH
# What ends it: radii within which contact is looked for and beyond which escape is, semi-axes of enclosing ellipsoids.
NEAR, FAR, AXES, LIMITS = 0, 1, 2, 8

# w in lanes: the same up to the interpolant; what the right-hand side leaves; the step, once for each component; ..
LANES = 8
SLOPE, SPREAD, RUN = 27 * SIZE, 28 * SIZE, 29 * SIZE
# .. what the lane's run remembers, from RUN on; error norm, factor for the next step, 1 where the step is taken, the
# fraction of it to look at; squares of both radii; time after the step and its error, the next step, whether samples
# are due, how the run ends, whether a sample waits, up to which fraction the step counts; sum of distances (shooting);
ERROR, FACTOR, TAKEN, AT = range(RUN + PROGRESS, RUN + PROGRESS + 4)
NEAR2, FAR2, AFTER, AFTER_ERROR, NEXT, DUE, EVENT, PENDING, REACH, DISTANCE = range(AT + 1, AT + 11)
# .. then k and c of each lane.
PARAMETERS = RUN + 24

# Columns of the splitting, one for each lane or thread of a GPU: y with momenta per G M1 M2 for the rates, eight
# constants (G (M1 + M2), G M1 M2 / I of both, 1/|r|, which drifts keep), c.
SPLIT_CONSTANTS = 8
INVERSE = SIZE + SPLIT_CONSTANTS - 1
SPLIT_PER_INERTIA1, SPLIT_PER_INERTIA2 = slice(SIZE + 1, SIZE + 4), slice(SIZE + 4, SIZE + 7)
ROWS = {"y": 0, "k": SIZE, "c": SIZE + SPLIT_CONSTANTS}
"""First rows of its arrays."""

NEVER = 1e300
"""As a time or a number of samples: none will be due."""
