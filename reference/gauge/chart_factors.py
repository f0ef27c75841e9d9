"""Mean d2 and standard deviation d3 of the range of n standard normal values, to 20 digits.

Run: python chart_factors.py
Needs mpmath (1.3). Formulas: Tippett, Biometrika 17 (1925) 364:
  d2 = integral of 1 - F^n - (1 - F)^n,
  E[w^2] = 2 * integral of w * P(range > w), P(range <= w) = n * integral of f (F(x + w) - F(x))^(n-1).
"""
from mpmath import mp, mpf, quad, erfc, exp, sqrt, pi, nstr

mp.dps = 22


def F(x):
    return erfc(-x / sqrt(2)) / 2


def f(x):
    return exp(-x * x / 2) / sqrt(2 * pi)


def d2(n):
    return quad(lambda x: 1 - F(x) ** n - F(-x) ** n, [-12, -6, -3, 0, 3, 6, 12])


def gauss(a, b, m=40):
    """Nodes and weights on [a, b]."""
    nodes = []
    for i in range(1, m + 1):
        x = mp.cos(pi * (i - mpf(1) / 4) / (m + mpf(1) / 2))
        for _ in range(60):
            p0, p1 = mpf(1), x
            for k in range(2, m + 1):
                p0, p1 = p1, ((2 * k - 1) * x * p1 - (k - 1) * p0) / k
            d = m * (x * p1 - p0) / (x * x - 1)
            step = p1 / d
            x -= step
            if abs(step) < mpf(10) ** (-mp.dps + 2):
                break
        nodes.append((x, 2 / ((1 - x * x) * d * d)))
    return [((b - a) / 2 * x + (a + b) / 2, w * (b - a) / 2) for x, w in nodes]


# The double integral on one fixed net; F is taken once a point of the net.
W = gauss(mpf(0), mpf(5)) + gauss(mpf(5), mpf(10)) + gauss(mpf(10), mpf(16))
X = gauss(mpf(-14), mpf(-7)) + gauss(mpf(-7), mpf(-3)) + gauss(mpf(-3), mpf(0)) + \
    gauss(mpf(0), mpf(4)) + gauss(mpf(4), mpf(11))
NET = [(w, ww, [(wx * f(x), F(x + w) - F(x)) for x, wx in X]) for w, ww in W]


def d3(n, d2n):
    second = 2 * sum(ww * w * (1 - n * sum(fx * g ** (n - 1) for fx, g in row)) for w, ww, row in NET)
    return sqrt(second - d2n * d2n)


for n in range(2, 26):
    m = d2(n)
    print(f"    ({nstr(m, 17)}, {nstr(d3(n, m), 16)}), // n = {n}", flush=True)
