"""A closed cubic spline through a few uneven rows, for the check of bedplate-gauge's lift table.

Run: python cam_spline.py
Needs numpy and scipy (computed with scipy 1.17.1).
"""
import numpy as np
from scipy.interpolate import CubicSpline

ANGLES = [0, 20, 55, 90, 120, 150, 185, 210, 250, 275, 300, 340]
LIFTS = [0.0, 0.05, 0.6, 2.4, 4.9, 7.1, 7.9, 6.2, 2.1, 0.7, 0.1, 0.02]
curve = CubicSpline(np.radians(ANGLES + [360]), LIFTS + [LIFTS[0]], bc_type="periodic")
for angle in [10, 137.5, 200, 359]:
    at = np.radians(angle)
    print(angle, repr(float(curve(at))), repr(float(curve(at, 1))), repr(float(curve(at, 2))))
