"""Notches: how much a nick or a blend concentrates stress, and what of it fatigue feels. Advisory."""

from __future__ import annotations

import math
from dataclasses import dataclass

from spoolwright.errors import RangeError


def arc_radius(length: float, depth: float) -> float:
    """Radius of a circular arc cut into an edge.

    Parameters
    ----------
    length, depth : float
        Along the edge and into the part [m].

    Returns
    -------
    float
        Radius of the arc [m].

    Raises
    ------
    RangeError
        Length or depth is not above zero.

    Examples
    --------
    >>> arc_radius(10.0, 1.0)
    13.0
    """
    _positive(length=length, depth=depth)
    return (length**2 / 4.0 + depth**2) / (2.0 * depth)


def ellipse_radius(length: float, depth: float) -> float:
    """Radius at the bottom of a half ellipse cut into an edge.

    Parameters
    ----------
    length, depth : float
        Along the edge (the whole axis) and into the part (the half axis) [m].

    Returns
    -------
    float
        Radius of curvature at the bottom [m].
    """
    _positive(length=length, depth=depth)
    return length**2 / (4.0 * depth)


def stress_concentration(depth: float, radius: float) -> float:
    """Stress at the bottom of a shallow edge notch over the stress far from it.

    Parameters
    ----------
    depth, radius : float
        Depth of the notch and radius at its bottom [m].

    Returns
    -------
    float
        Stress concentration factor, on the gross section [-].

    Notes
    -----
    Ellipse in an infinite plate; an edge notch of the same depth lies within a few per cent above. Shallow
    notches only: depth below a tenth of the chord.

    References
    ----------
    C. E. Inglis, Trans. Inst. Naval Architects 55 (1913) 219-241.

    Examples
    --------
    >>> round(stress_concentration(0.5, 0.1), 3), round(stress_concentration(1.0, arc_radius(8.0, 1.0)), 4)
    (5.472, 1.686)
    """
    _positive(depth=depth, radius=radius)
    return 1.0 + 2.0 * math.sqrt(depth / radius)


def peterson_length(ultimate_strength: float) -> float:
    """Length in Peterson's notch sensitivity, for steels.

    Parameters
    ----------
    ultimate_strength : float
        Of the material, 500 to 2100 MPa [Pa].

    Returns
    -------
    float
        Material length [m].

    References
    ----------
    R. E. Peterson, Stress Concentration Factors (1974), chapter 1: a = 0.025 mm (2070 MPa / Su)^1.8.

    Examples
    --------
    >>> round(1000.0 * peterson_length(1000e6), 5)
    0.09262
    """
    _positive(ultimate_strength=ultimate_strength)
    return 0.025e-3 * math.pow(2070e6 / ultimate_strength, 1.8)


@dataclass(frozen=True)
class FatigueFactor:
    """What fatigue feels of a notch, by two models that bracket it.

    Parameters
    ----------
    stress : float
        Stress concentration factor [-].
    peterson : float
        Fatigue notch factor by notch sensitivity [-].
    critical_distance : float
        Fatigue notch factor by the stress half a critical distance ahead of the notch [-].
    """

    stress: float
    peterson: float
    critical_distance: float

    @property
    def bracket(self) -> tuple[float, float]:
        """Lower and upper of the two [-]."""
        low, high = sorted((self.peterson, self.critical_distance))
        return low, high


def fatigue_factor(
    depth: float, radius: float, material_length: float, critical_length: float
) -> FatigueFactor:
    """Fatigue notch factor of an edge notch by two models.

    Parameters
    ----------
    depth, radius : float
        Depth of the notch and radius at its bottom [m].
    material_length : float
        Peterson's length [m].
    critical_length : float
        El Haddad's length, that of the critical distance [m].

    Returns
    -------
    FatigueFactor
        Stress factor and both fatigue factors [-].

    Notes
    -----
    Peterson: Kf = 1 + (Kt - 1) / (1 + a / r). Critical distance, point method: the elastic stress at half the
    critical length ahead of the root, with the field of a blunt notch (Creager and Paris). Their spread is
    part of the answer: neither is exact, and depth alone is a poor rule.

    References
    ----------
    R. E. Peterson (1974); D. Taylor, Int. J. Fatigue 21 (1999) 413-420; M. Creager, P. C. Paris, Int. J.
    Fracture Mechanics 3 (1967) 247-252.

    Examples
    --------
    >>> f = fatigue_factor(0.5e-3, 0.1e-3, peterson_length(1000e6), 26.5e-6)
    >>> round(f.peterson, 3)
    3.322
    """
    _positive(material_length=material_length, critical_length=critical_length)
    kt = stress_concentration(depth, radius)
    peterson = 1.0 + (kt - 1.0) / (1.0 + material_length / radius)
    ahead = radius / 2.0 + critical_length / 2.0
    share = math.sqrt(radius / (2.0 * ahead)) * (1.0 + radius / (2.0 * ahead)) / 2.0
    return FatigueFactor(kt, peterson, max(1.0, kt * share))


def critical_length(threshold: float, endurance: float, geometry: float = 1.12) -> float:
    """El Haddad's length: a crack shorter than about this lowers the endurance little.

    Parameters
    ----------
    threshold : float
        Range of stress intensity below which long cracks stand still [Pa·m^0.5].
    endurance : float
        Range of stress that smooth specimens endure [Pa].
    geometry : float
        Geometry factor, 1.12 for an edge crack [-].

    Returns
    -------
    float
        Length [m].

    References
    ----------
    M. H. El Haddad, K. N. Smith, T. H. Topper, J. Eng. Mater. Technol. 101 (1979) 42-46.

    Examples
    --------
    >>> round(1e6 * critical_length(4.6e6, 450e6), 1)
    26.5
    """
    _positive(threshold=threshold, endurance=endurance, geometry=geometry)
    return (threshold / (geometry * endurance)) ** 2 / math.pi


def endurance_with_crack(length: float, threshold: float, endurance: float, geometry: float = 1.12) -> float:
    """Range of stress at which a short edge crack stands still.

    Parameters
    ----------
    length : float
        Depth of the crack, zero allowed [m].
    threshold : float
        Of long cracks [Pa·m^0.5].
    endurance : float
        Of smooth specimens [Pa].
    geometry : float
        Geometry factor [-].

    Returns
    -------
    float
        Range of stress [Pa].

    References
    ----------
    M. H. El Haddad, K. N. Smith, T. H. Topper, J. Eng. Mater. Technol. 101 (1979) 42-46.

    Examples
    --------
    >>> [round(endurance_with_crack(a, 4.6e6, 450e6) / 1e6, 1) for a in (10e-6, 50e-6, 100e-6, 500e-6)]
    [383.5, 264.9, 206.0, 101.0]
    """
    if length < 0.0:
        raise RangeError(f"a crack of {length} m is shorter than none.", mend="Give a depth from zero up.")
    intrinsic = critical_length(threshold, endurance, geometry)
    return threshold / (geometry * math.sqrt(math.pi * (length + intrinsic)))


def _positive(**quantities: float) -> None:
    for name, value in quantities.items():
        if not (math.isfinite(value) and value > 0.0):
            raise RangeError(f"{name.replace('_', ' ')} is {value}; it must be above zero.")
