"""Forward-mode dual numbers and the elementary functions that the physics is written in.

The physics takes `exp`, `log`, `sqrt` and `where` from here. Each works alike on a Python float, a NumPy
array, a `Dual` and any other array that follows the array API standard (so the same source runs under JAX).
"""

from __future__ import annotations

import math
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
Number: TypeAlias = Any
"""A float, an array, a `Dual`, or an array of another array-API library."""


class Dual:
    """A value and its derivatives along n directions.

    Parameters
    ----------
    v : array or float
        Values, any shape S [-].
    d : array
        Derivatives, shape (n, *S) or broadcastable to it [-].

    References
    ----------
    Griewank and Walther, Evaluating Derivatives, 2nd ed. (SIAM 2008), chapter 3 (forward mode).
    """

    __slots__ = ("d", "v")
    __array_ufunc__ = None  # an ndarray on the left hands the operation to us

    def __init__(self, v: Number, d: Number) -> None:
        self.v = v
        self.d = d

    def __add__(self, o: Number) -> Dual:
        return Dual(self.v + o.v, self.d + o.d) if isinstance(o, Dual) else Dual(self.v + o, self.d)

    __radd__ = __add__

    def __sub__(self, o: Number) -> Dual:
        return Dual(self.v - o.v, self.d - o.d) if isinstance(o, Dual) else Dual(self.v - o, self.d)

    def __rsub__(self, o: Number) -> Dual:
        return Dual(o - self.v, -self.d)

    def __mul__(self, o: Number) -> Dual:
        if isinstance(o, Dual):
            return Dual(self.v * o.v, self.d * o.v + o.d * self.v)
        return Dual(self.v * o, self.d * o)

    __rmul__ = __mul__

    def __truediv__(self, o: Number) -> Dual:
        if isinstance(o, Dual):
            q = self.v / o.v
            return Dual(q, (self.d - o.d * q) / o.v)
        return Dual(self.v / o, self.d / o)

    def __rtruediv__(self, o: Number) -> Dual:
        q = o / self.v
        return Dual(q, self.d * (-q / self.v))

    def __neg__(self) -> Dual:
        return Dual(-self.v, -self.d)

    def __pow__(self, p: Number) -> Dual:
        if isinstance(p, Dual):
            return exp(log(self) * p)  # type: ignore[no-any-return]
        r = self.v**p
        return Dual(r, self.d * (p * r / self.v))

    def __lt__(self, o: Number) -> Any:
        return self.v < value(o)

    def __gt__(self, o: Number) -> Any:
        return self.v > value(o)

    def __le__(self, o: Number) -> Any:
        return self.v <= value(o)

    def __ge__(self, o: Number) -> Any:
        return self.v >= value(o)

    def __repr__(self) -> str:
        return f"Dual({self.v!r}, {self.d!r})"


def value(x: Number) -> Number:
    """The value part of a dual number; anything else unchanged [-]."""
    return x.v if isinstance(x, Dual) else x


def chain(result: Number, *terms: tuple[Number, Number]) -> Number:
    """Attach an exactly known derivative to a value already computed.

    Parameters
    ----------
    result : float or array
        The function's value [-].
    *terms : (partial, operand)
        Partial derivative with respect to each operand, and that operand; one not dual adds nothing [-].

    Returns
    -------
    Dual, or `result` itself when no operand is dual [-].
    """
    d: Number = None
    for partial, operand in terms:
        if isinstance(operand, Dual):
            step = operand.d * partial
            d = step if d is None else d + step
    return result if d is None else Dual(result, d)


def namespace(x: Number) -> Any:
    """The array namespace of x (array API standard); NumPy for floats and duals [-]."""
    get = getattr(value(x), "__array_namespace__", None)
    return np if get is None else get()


def is_foreign(*xs: Number) -> bool:
    """Whether any of xs is an array of a library other than NumPy (it then differentiates by itself) [-]."""
    for x in xs:
        kind = type(x)
        if kind is not float and kind is not np.ndarray and namespace(x) is not np:
            return True
    return False


def exp(x: Number) -> Number:
    """Exponential of a float, array or dual number [-]."""
    if isinstance(x, float):
        return math.exp(x)
    if isinstance(x, Dual):
        e = exp(x.v)
        return Dual(e, x.d * e)
    return namespace(x).exp(x)


def log(x: Number) -> Number:
    """Natural logarithm of a float, array or dual number [-]."""
    if isinstance(x, float):
        return math.log(x)
    if isinstance(x, Dual):
        return Dual(log(x.v), x.d / x.v)
    return namespace(x).log(x)


def sqrt(x: Number) -> Number:
    """Square root of a float, array or dual number [-]."""
    if isinstance(x, float):
        return math.sqrt(x)
    if isinstance(x, Dual):
        r = sqrt(x.v)
        return Dual(r, x.d * (0.5 / r))
    return namespace(x).sqrt(x)


def where(condition: Any, a: Number, b: Number) -> Number:
    """Choose a where the condition holds, else b; floats, arrays and dual numbers may be mixed [-]."""
    if isinstance(condition, bool | np.bool_) and not is_foreign(a, b):
        return a if condition else b
    if isinstance(a, Dual) or isinstance(b, Dual):
        av, bv = value(a), value(b)
        ad = a.d if isinstance(a, Dual) else np.zeros_like(b.d)
        bd = b.d if isinstance(b, Dual) else np.zeros_like(a.d)
        return Dual(np.where(condition, av, bv), np.where(condition, ad, bd))
    xp = namespace(condition)
    xp = namespace(a) if xp is np else xp
    xp = namespace(b) if xp is np else xp
    return xp.where(condition, a, b)


def seeds(xs: list[Number]) -> list[Dual]:
    """Unknowns as dual numbers, each with its own direction.

    Parameters
    ----------
    xs : list of n floats or arrays of shape (N,)
        Values [-].

    Returns
    -------
    list of Dual
        Derivative arrays of shape (n, N), or (n,) for floats [-].
    """
    n = len(xs)
    out = []
    for i, x in enumerate(xs):
        d = np.zeros((n, *np.shape(x)))
        d[i] = 1.0
        out.append(Dual(x, d))
    return out
