"""Quantiles and probabilities to 25 digits, for the checks of bedplate-gauge's distributions.

Run: python quantiles.py > ../../crates/gauge/tests/reference/quantiles.csv
Needs mpmath (1.3) and scipy (for the starting value only).
Each probability is the binary double written, not the decimal it resembles.
"""
from mpmath import mp, mpf, erfc, sqrt, betainc, gammainc, findroot, log
from scipy import stats

mp.dps = 40
PROBABILITIES = [1e-9, 1e-6, 1e-4, 0.001, 0.01, 0.025, 0.05, 0.1, 0.25, 0.4, 0.499, 0.5, 0.501,
                 0.6, 0.75, 0.9, 0.95, 0.975, 0.99, 0.995, 0.999, 0.9999, 1 - 1e-6, 1 - 1e-9]
T_DOF = [1, 2, 3, 4.5, 10, 16, 18, 30, 100, 1000, 99999, 100001, 1e7]
CHI2_DOF = [1, 2, 3, 5, 9, 10, 49, 99, 999, 9999]
F_DOF = [(1, 1), (2, 18), (9, 90), (18, 60), (8, 1800)]


def normal_tails(z):
    return erfc(-z / sqrt(2)) / 2, erfc(z / sqrt(2)) / 2


def t_tails(t, nu):
    nu = mpf(nu)
    tail = betainc(nu / 2, mpf(1) / 2, 0, nu / (nu + t * t), regularized=True) / 2
    return (tail, 1 - tail) if t < 0 else (1 - tail, tail)


def chi2_tails(x, nu):
    return (gammainc(mpf(nu) / 2, 0, x / 2, regularized=True),
            gammainc(mpf(nu) / 2, x / 2, mp.inf, regularized=True))


def f_tails(x, a, b):
    a, b = mpf(a), mpf(b)
    return (betainc(a / 2, b / 2, 0, a * x / (a * x + b), regularized=True),
            betainc(b / 2, a / 2, 0, b / (a * x + b), regularized=True))


def solve(tails, p, guess):
    p = mpf(p)
    if p < 0.5:
        return findroot(lambda x: log(tails(x)[0] / p), mpf(guess))
    return findroot(lambda x: log(tails(x)[1] / (1 - p)), mpf(guess))


print("distribution,dof1,dof2,probability,quantile")
for p in PROBABILITIES:
    q = solve(normal_tails, p, stats.norm.ppf(p)) if p != 0.5 else mpf(0)
    print(f"normal,,,{p!r},{mp.nstr(q, 20)}")
for nu in T_DOF:
    for p in PROBABILITIES:
        q = solve(lambda t: t_tails(t, nu), p, stats.t.ppf(p, nu)) if p != 0.5 else mpf(0)
        print(f"t,{nu!r},,{p!r},{mp.nstr(q, 20)}")
for nu in CHI2_DOF:
    for p in PROBABILITIES:
        # Solved in the logarithm, where the far lower tail is a straight line.
        q = mp.exp(solve(lambda s: chi2_tails(mp.exp(s), nu), p, mp.log(stats.chi2.ppf(p, nu))))
        print(f"chi-square,{nu!r},,{p!r},{mp.nstr(q, 20)}")
for a, b in F_DOF:
    for p in PROBABILITIES:
        q = mp.exp(solve(lambda s: f_tails(mp.exp(s), a, b), p, mp.log(stats.f.ppf(p, a, b))))
        print(f"f,{a!r},{b!r},{p!r},{mp.nstr(q, 20)}")
