# SPDX-License-Identifier: GPL-3.0-or-later
"""Quantiles against SciPy's, on a grid of all that bounds in a visit can ask for.

Where the two differ by more than 1e-9 (2e-9 for probabilities under 1e-9), SciPy's distribution function
judges whose x gives the probability back. Prints the largest relative difference of each distribution.
"""
import math
import sys

from scipy import stats
from ask_statistics import ask

PROBABILITIES = [1e-12, 1e-9, 1e-6, 1e-4, 0.05 / 200, 0.005, 0.025, 0.05, 0.1, 0.3, 0.5, 0.8, 0.95, 0.999]
DOF = [0.3, 1, 1.5, 2, 3.7, 5, 10, 23.4, 50, 100, 333.3, 1000, 1e4, 1e5, 1e6]
ERRORS = [0, 1, 2, 3, 4, 7, 15, 40, 100, 1000]
POLLS = [1, 2, 5, 10, 50, 100, 864, 1000, 2995, 10000, 123456, 1000000, 10000000]


def grid():
    """(name, a, b, SciPy's distribution)"""
    yield "normal", 0, 0, stats.norm()
    for dof in DOF:
        yield "chi_square", dof, 0, stats.chi2(dof)
        if dof >= 1:
            yield "t", dof, 0, stats.t(dof)
        for below in DOF:
            if dof >= 1 and below >= 1:
                yield "f", dof, below, stats.f(dof, below)
    for errors in ERRORS:
        for polls in POLLS:
            if errors < polls:
                yield "beta", errors + 1, polls - errors, stats.beta(errors + 1, polls - errors)
            if 0 < errors <= polls:
                yield "beta", errors, polls - errors + 1, stats.beta(errors, polls - errors + 1)


def returned(distribution, side, probability, x):
    """How far the distribution function at x is from the probability, relative."""
    back = distribution.cdf(x) if side == "below" else distribution.sf(x)
    return abs(back / probability - 1)


def main():
    cases = [(name, side, p, a, b, distribution)
             for name, a, b, distribution in grid() for side in ("below", "above") for p in PROBABILITIES]
    answers = ask([("quantile",) + case[:5] for case in cases])
    worst, counts, none, wrong, scipy_off = {}, {}, [], [], 0
    for (name, side, p, a, b, distribution), answer in zip(cases, answers):
        counts[name] = counts.get(name, 0) + 1
        peer = distribution.ppf(p) if side == "below" else distribution.isf(p)
        if answer is None:
            none.append((name, side, p, a, b, peer))
            continue
        x = answer[0]
        off = abs(x - peer) / abs(peer) if p != 0.5 or name not in ("normal", "t") else abs(x)
        allowed = 1e-9 if p >= 1e-9 else 2e-9
        if off > allowed or math.isnan(off):
            if returned(distribution, side, p, x) < min(1e-8, returned(distribution, side, p, peer)):
                scipy_off += 1
            else:
                wrong.append((name, side, p, a, b, x, peer))
            continue
        worst[name] = max(worst.get(name, 0), off)
    for name, off in worst.items():
        print(f"{name}: {counts[name]} quantiles, largest relative difference {off:.2g}")
    print(f"{scipy_off} where SciPy's distribution function gives the probability back better at our x than at its own")
    for case in none:
        print("no number for", case)
    for case in wrong:
        print("differs:", case)
    assert not wrong
    # Honest refusals are allowed, but must stay what they are: one in ten thousand, and none for a rate.
    assert len(none) * 10000 <= len(cases) and all(case[0] != "beta" for case in none)
    three = next(answer for case, answer in zip(cases, answers)
                 if case[:5] == ("beta", "below", 0.05, 3, 862))
    print("3 errors in 864 polls: rate above", three[0])


if __name__ == "__main__":
    sys.exit(main())
