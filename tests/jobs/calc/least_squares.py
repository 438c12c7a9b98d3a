"""The general-purpose reference for balances: constrained least squares by a null space and whitening."""

import math
from collections.abc import Sequence

import numpy as np
from scipy import linalg

from jobs.calc.fluid_network import Stream


def solve_by_null_space(streams: Sequence[Stream]) -> tuple[np.ndarray, float]:
    """Best values and misfit: x = N z with N the null space of the balances, z by lstsq on whitened readings.

    Every unread stream must be determined by the others, and no reading may be exact.
    """
    nodes = list(dict.fromkeys(end for stream in streams for end in (stream.source, stream.target) if end))
    matrix = np.array(
        [[(stream.target == node) - (stream.source == node) for stream in streams] for node in nodes], float
    )
    known = [index for index, stream in enumerate(streams) if not math.isnan(stream.measured)]
    measured = np.array([streams[index].measured for index in known])
    errors = list(dict.fromkeys(name for index in known for name in streams[index].shared))
    loads = np.array([[streams[index].shared.get(error, 0.0) for error in errors] for index in known])
    covariance = np.diag([streams[index].own_uncertainty ** 2 for index in known]) + loads @ loads.T
    whiten = linalg.solve_triangular(linalg.cholesky(covariance, lower=True), np.eye(len(known)), lower=True)
    free = linalg.null_space(matrix)
    best, *_rest = linalg.lstsq(whiten @ free[known], whiten @ measured)
    values = free @ best
    misfit = whiten @ (values[known] - measured)
    return values, float(misfit @ misfit)
