"""Least-squares circle of a 3,600-point trace by general libraries, for the table of the form bench.

Run: python form_speed.py
Needs numpy and scipy; prints their versions, the median time and the circle.
"""
import time

import numpy as np
import scipy
from scipy.optimize import least_squares

N = 3600
rng = np.random.default_rng(1)
angle = 2 * np.pi * np.arange(N) / N
deviation_um = (5 * np.cos(angle + 1) + 4 * np.cos(2 * angle) + 2 * np.cos(3 * angle + 1)
                + 0.5 * np.cos(12 * angle) + 0.3 * rng.standard_normal(N))
radius = 34 + deviation_um * 1e-3
x, y = radius * np.cos(angle), radius * np.sin(angle)


def fit():
    def slopes(p):
        rho = np.hypot(x - p[0], y - p[1])
        return np.column_stack([-(x - p[0]) / rho, -(y - p[1]) / rho, -np.ones(N)])

    start = [x.mean(), y.mean(), 34.0]
    return least_squares(lambda p: np.hypot(x - p[0], y - p[1]) - p[2], start, jac=slopes,
                         method="lm", xtol=1e-14, ftol=1e-14, gtol=1e-14)


times = []
for _ in range(200):
    begun = time.perf_counter()
    answer = fit()
    times.append(time.perf_counter() - begun)
print(f"numpy {np.__version__}, scipy {scipy.__version__}")
print(f"{N} points, median {1e6 * np.median(times):.0f} µs, circle {answer.x}")
