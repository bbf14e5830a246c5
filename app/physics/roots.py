"""One bracketed root finder; refuses a bracket that does not hold a change of sign."""

from collections.abc import Callable


def bracketed_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Root of a continuous `function` of a plain number between `low` and `high`, where its signs must differ.

    Bisection to the last bit of the argument that matters (60 halvings): no starting point, no derivative, and it
    cannot leave the bracket. Raises ValueError when the signs at both ends are equal.
    """
    at_low, at_high = function(low), function(high)
    if at_low == 0:
        return low
    if at_high == 0:
        return high
    if (at_low > 0) == (at_high > 0):
        raise ValueError(f"No root between {low:g} and {high:g}: the function has the same sign at both ends.")
    for _ in range(60):
        middle = 0.5 * (low + high)
        value = function(middle)
        if value == 0:
            return middle
        if (value > 0) == (at_low > 0):
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
