"""Coefficients of the composition ABA(10,4), made for perturbed problems.

Blanes, Casas, Farres, Laskar, Makazaga & Murua 2013, Appl. Numer. Math. 68, 58.
"""

A = (0.04706710064597251, 0.1847569354170881, 0.2827060056798362)
B = (0.11888191736819702, 0.24105046055150156, -0.2732866667053238)
DRIFTS = (*A, 0.5 - sum(A), 0.5 - sum(A), *A[::-1])
KICKS = (*B, 1.0 - 2.0 * sum(B), *B[::-1])
LONGEST_DRIFT = max(DRIFTS)
