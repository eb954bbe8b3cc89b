"""The sum at the heart of the propagation of uncertainty, compiled: what each input brings to a combined variance."""

import math

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled

Floats = NDArray[np.float64]
EPS = float(np.finfo(np.float64).eps)


@compiled
def write_shares(rates: Floats, standard: Floats, root: Floats, spread: Floats, out: Floats) -> None:
    """Each input's part of the variance of one output into `out` (n,): c_i u_i sum_j r_ij c_j u_j.

    `rates` c (n,), `standard` u (n,); `root` (n * rank,) row by row of the correlations, r = root root^T, empty where no
    two inputs are correlated; `spread` (rank,), filled: the output's deviation by each of what inputs share. The parts
    add up to the variance; with correlation one may be negative. Rate 8 m/rad, standard 0.001 rad: 64e-6 m2, 8 mm.

    Source: JCGM 100:2008 (GUM), equation 16.
    """
    n = rates.shape[0]
    rank = spread.shape[0]
    if root.shape[0] == 0:
        for i in range(n):
            own = rates[i] * standard[i]
            out[i] = own * own
        return
    size = left = 0.0
    for j in range(rank):
        spread[j] = 0.0
    for i in range(n):
        own = rates[i] * standard[i]
        size += own * own
        if own != 0.0:
            for j in range(rank):
                spread[j] += own * root[i * rank + j]
    for j in range(rank):
        left += spread[j] * spread[j]
    # What is left where inputs cancel each other is rounding.
    kept = 0.0 if math.sqrt(left) <= 4.0 * n * EPS * math.sqrt(size) else 1.0
    for j in range(rank):
        spread[j] *= kept
    for i in range(n):
        own = rates[i] * standard[i]
        total = 0.0
        if own != 0.0:
            for j in range(rank):
                total += root[i * rank + j] * spread[j]
        out[i] = own * total


@compiled
def write_all_shares(rates: Floats, standard: Floats, root: Floats, spread: Floats, out: Floats) -> None:
    """The same of every row of rates (k, n) into rows of spread (k, rank) and out (k, n)."""
    for k in range(rates.shape[0]):
        write_shares(rates[k], standard, root, spread[k], out[k])
