"""Straight lines through points: for a calibration, and for two methods that both err.

Least squares with the covariance of its parameters (JCGM 100:2008, H.3); Deming 1943 for errors in both, with the ratio of
their variances stated (Cornbleet & Gochman 1979, Clinical Chemistry 25, 432). Units: those of the two columns."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean


class NoLine(ValueError):
    """No line goes through these points; the sentence says why."""


@dataclass(frozen=True)
class Line:
    """y = intercept + slope (x - origin), with standard uncertainties, their correlation, the scatter about the line, and
    which share of the variance of y it explains."""

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    scatter: float
    explained: float
    origin: float = 0.0

    def at(self, x: float) -> float:
        """The line's value at x."""
        return self.intercept + self.slope * (x - self.origin)

    def u_at(self, x: float) -> float:
        """Its standard uncertainty there, the covariance counted."""
        arm = x - self.origin
        shared = 2 * arm * self.correlation * self.u_intercept * self.u_slope
        return math.sqrt(max(0.0, self.u_intercept**2 + (arm * self.u_slope) ** 2 + shared))

    def needed_x(self, y: float) -> float:
        """Where the line has that value. Raises NoLine for a level one."""
        if self.slope == 0:
            raise NoLine("The line is level: no reading tells one value from another.")
        return self.origin + (y - self.intercept) / self.slope


def _pairs(x: Sequence[float], y: Sequence[float], fewest: int) -> None:
    if len(x) != len(y) or len(x) < fewest:
        raise NoLine(f"It takes {fewest} pairs of values or more.")
    if not all(map(math.isfinite, (*x, *y))):
        raise NoLine("A value is not a number.")
    if min(x) == max(x):
        raise NoLine("All values lie at one place: a line needs two.")


def least_squares(*, x: Sequence[float], y: Sequence[float], origin: float = 0.0) -> Line:
    """The line through three points or more whose x is known well. Raises NoLine."""
    _pairs(x, y, 3)
    n, x_mean, y_mean = len(x), fmean(x), fmean(y)
    xx = math.fsum((a - x_mean) ** 2 for a in x)
    xy = math.fsum((a - x_mean) * (b - y_mean) for a, b in zip(x, y, strict=True))
    yy = math.fsum((b - y_mean) ** 2 for b in y)
    slope = xy / xx
    arm = x_mean - origin
    left = math.fsum((b - y_mean - slope * (a - x_mean)) ** 2 for a, b in zip(x, y, strict=True))
    scatter = math.sqrt(left / (n - 2))
    spread = math.sqrt(1 / n + arm**2 / xx)
    return Line(
        intercept=y_mean - slope * arm,
        slope=slope,
        u_intercept=scatter * spread,
        u_slope=scatter / math.sqrt(xx),
        correlation=-arm / (spread * math.sqrt(xx)),
        scatter=scatter,
        explained=1 - left / yy if yy > 0 else 0.0,
        origin=origin,
    )


def deming(*, x: Sequence[float], y: Sequence[float], variance_ratio: float = 1.0) -> tuple[float, float]:
    """Intercept and slope where both columns err; `variance_ratio` is the variance of y's errors over that of x's.
    Raises NoLine."""
    _pairs(x, y, 3)
    if not 0 < variance_ratio < math.inf:
        raise NoLine("The ratio of the variances lies above nought.")
    x_mean, y_mean = fmean(x), fmean(y)
    xx = math.fsum((a - x_mean) ** 2 for a in x)
    yy = math.fsum((b - y_mean) ** 2 for b in y)
    xy = math.fsum((a - x_mean) * (b - y_mean) for a, b in zip(x, y, strict=True))
    if xy == 0:
        raise NoLine("The two columns have nothing to do with each other.")
    apart = yy - variance_ratio * xx
    slope = (apart + math.sqrt(apart**2 + 4 * variance_ratio * xy**2)) / (2 * xy)
    return y_mean - slope * x_mean, slope
