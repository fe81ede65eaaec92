# SPDX-License-Identifier: GPL-3.0-or-later
"""Levene and Brown-Forsythe, autocorrelation and periodogram against SciPy, NumPy and astropy, on
100 random series each."""
import numpy as np
from scipy import signal, stats
from ask_statistics import ask

SERIES = 100


def levene(random):
    questions, peers = [], []
    for i in range(SERIES):
        groups = [random.normal(0, 1 + 0.1 * random.random(), random.integers(2, 60))
                  for _ in range(random.integers(2, 8))]
        center = "mean" if i % 2 else "median"
        questions.append(["levene", center, len(groups), *map(len, groups),
                          *map(repr, map(float, np.concatenate(groups)))])
        peers.append(stats.levene(*groups, center=center))
    answers = ask(questions)
    statistic = max(abs(a[0] / p[0] - 1) for a, p in zip(answers, peers))
    probability = max(abs(a[1] / p[1] - 1) for a, p in zip(answers, peers))
    print(f"levene: largest relative difference {statistic:.2g}, of p {probability:.2g}")
    assert statistic < 1e-10 and probability < 1e-9


def autocorrelation(random):
    questions, peers = [], []
    for _ in range(SERIES):
        n = int(random.integers(10, 2000))
        value = np.cumsum(random.normal(size=n)) * 0.1 + random.normal(size=n)
        lags = int(random.integers(1, n))
        full = np.correlate(value, value, "full")[n - 1:]
        questions.append(["autocorrelation", n, lags, *map(repr, map(float, value))])
        peers.append(full[:lags + 1] / full[0])
    worst = max(np.max(np.abs(np.array(a) - p)) for a, p in zip(ask(questions), peers))
    print(f"autocorrelation: largest difference {worst:.2g}")
    assert worst < 1e-12


def lomb(random):
    from astropy.timeseries import LombScargle

    questions, by_scipy, by_astropy = [], [], []
    for _ in range(SERIES):
        n = int(random.integers(10, 300))
        time = np.sort(random.uniform(0, 100, n))
        value = 1000 + random.normal(size=n) + np.sin(7 * time)
        frequency = np.sort(random.uniform(0.01, 60, 50))
        questions.append(["lomb", n, len(frequency),
                          *map(repr, map(float, np.concatenate([time, value, frequency])))])
        centred = value - value.mean()
        by_scipy.append(signal.lombscargle(time, centred, 2 * np.pi * frequency) / np.var(value, ddof=1))
        standard = LombScargle(time, value, fit_mean=False, center_data=True).power(frequency, method="slow")
        by_astropy.append(standard * (n - 1) / 2)
    answers = [np.array(a) for a in ask(questions)]
    scipy_off = max(np.max(np.abs(a - p)) for a, p in zip(answers, by_scipy))
    astropy_off = max(np.max(np.abs(a - p)) for a, p in zip(answers, by_astropy))
    print(f"periodogram: largest difference {scipy_off:.2g} (SciPy), {astropy_off:.2g} (astropy)")
    assert scipy_off < 1e-9 and astropy_off < 1e-9


if __name__ == "__main__":
    RANDOM = np.random.default_rng(20261125)
    levene(RANDOM)
    autocorrelation(RANDOM)
    lomb(RANDOM)
