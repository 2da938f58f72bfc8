"""Stress in the case wall and in what holds the closures, against strength, rating and proof test.

Strengths are specified minimums, not typical values. A proof test that the person made on this case outranks
every formula here; a formula knows nothing of scratches, threads, heat or age. No margin makes a motor safe.
"""

from dataclasses import dataclass
from math import nan

import numpy as np

from app.calc.base.constants import ROOM_TEMPERATURE, positive, within
from app.calc.base.errors import GeometryError
from app.calc.base.notes import Amount, Note
from app.calc.case.materials import MATERIALS, OTHER, Material, hottest_known, strengths

__all__ = [
    "FLIGHT_FACTOR",
    "MATERIALS",
    "OTHER",
    "SHEAR_SHARE",
    "TEST_FACTOR",
    "CaseMargin",
    "Material",
    "burst_pressure",
    "case_margin",
    "hoop_stress_bore",
    "hoop_stress_thin",
    "hottest_known",
    "limit_of",
    "strengths",
]

FLIGHT_FACTOR = 2.0
TEST_FACTOR = 1.5
"""Usual factors on yield for flight and for static tests [-] (Jurnal Polimesin 21(6), 2023)."""

SHEAR_SHARE = 0.577
"""Yield in shear over yield in tension [-]: von Mises, 1/sqrt(3)."""


def hoop_stress_thin(pressure: float, inner_d: float, outer_d: float) -> float:
    """Give the mean hoop stress of a wall.

    Parameters
    ----------
    pressure : float
        Inside, above ambient [Pa].
    inner_d, outer_d : float
        Of the wall [m].

    Returns
    -------
    float
        P r_i / t [Pa].

    Raises
    ------
    OutOfRange, GeometryError
        Sizes or pressure that cannot be.

    Notes
    -----
    Exact for the mean over the wall; near the peak only for thin walls (t below a tenth of the radius).

    References
    ----------
    Thin-walled cylinder: any text on strength of materials.

    Examples
    --------
    >>> round(hoop_stress_thin(5e6, 0.05, 0.054) / 1e6, 1)
    62.5
    """
    _wall(pressure, inner_d, outer_d)
    return pressure * inner_d / (outer_d - inner_d)


def hoop_stress_bore(pressure: float, inner_d: float, outer_d: float) -> float:
    """Give the hoop stress at the bore, where it is highest.

    Parameters
    ----------
    pressure : float
        Inside, above ambient [Pa].
    inner_d, outer_d : float
        Of the wall [m].

    Returns
    -------
    float
        P (ro**2 + ri**2) / (ro**2 - ri**2) [Pa].

    Raises
    ------
    OutOfRange, GeometryError
        Sizes or pressure that cannot be.

    Notes
    -----
    Any wall, elastic.

    References
    ----------
    Lame's equations for a thick cylinder: any text on strength of materials.

    Examples
    --------
    >>> round(hoop_stress_bore(5e6, 0.05, 0.054) / 1e6, 1)
    65.1
    """
    _wall(pressure, inner_d, outer_d)
    return pressure * (outer_d**2 + inner_d**2) / (outer_d**2 - inner_d**2)


def burst_pressure(ultimate_strength: float, inner_d: float, outer_d: float) -> float:
    """Give the pressure at which a tube is expected to burst.

    Parameters
    ----------
    ultimate_strength : float
        [Pa].
    inner_d, outer_d : float
        Of the wall [m].

    Returns
    -------
    float
        S_u t / r_o [Pa].

    Raises
    ------
    OutOfRange, GeometryError
        Sizes or strength that cannot be.

    Notes
    -----
    For a plain tube at room temperature; closures often let go first.

    References
    ----------
    Barlow's formula on the outer radius. Published case: 5 in by 0.125 in, 45 ksi, 2,250 psi.

    Examples
    --------
    >>> round(burst_pressure(45000 * 6894.757, 4.75 * 0.0254, 5 * 0.0254) / 6894.757)
    2250
    """
    _wall(1.0, inner_d, outer_d)
    positive("ultimate_strength", ultimate_strength, "Give it in pascal.")
    return ultimate_strength * (outer_d - inner_d) / outer_d


def _wall(pressure: float, inner_d: float, outer_d: float) -> None:
    positive("pressure", pressure, "Give the pressure inside.")
    positive("inner_d", inner_d, "Measure the case.")
    positive("outer_d", outer_d, "Measure the case.")
    if outer_d <= inner_d:
        raise GeometryError("outer_d", "must be larger than the inner diameter.", "Check which is which.")


@dataclass(frozen=True)
class CaseMargin:
    """How far a peak pressure is from what stands against it.

    Attributes
    ----------
    peak_pressure : float
        The pressure looked at [Pa].
    bore_stress, thin_stress : float
        Hoop stress at the bore (Lame) and mean over the wall [Pa].
    yield_strength : float
        At the wall's temperature [Pa].
    factor : float
        Yield strength over bore stress [-].
    yield_pressure, burst : float
        At which the bore yields, and at which the tube is expected to burst (nan if not known) [Pa].
    design_pressure : float
        Yield pressure, of the bore or of the closures if they are weaker, over the factor asked for [Pa].
    by_closure : bool
        Whether it is the closures that set it.
    limit, limit_words : float, str
        The figure that counts [Pa] and why it does.
    margin : float
        limit / peak - 1 [-]; negative means over it.
    of_rated, of_proof : float or None
        Peak over the rating and over the proof test [-].
    notes : tuple of Note or str
        What a reader must know, in words.
    """

    peak_pressure: float
    bore_stress: float
    thin_stress: float
    yield_strength: float
    factor: float
    yield_pressure: float
    burst: float
    design_pressure: float
    by_closure: bool
    limit: float
    limit_words: str
    margin: float
    of_rated: float | None
    of_proof: float | None
    notes: tuple[Note | str, ...]


def limit_of(rated_pressure: float | None, proof_pressure: float | None) -> tuple[float, str] | None:
    """Give the pressure that counts against a case by its rating and its proof test.

    Parameters
    ----------
    rated_pressure, proof_pressure : float or None
        The maker's or the person's rating, and the person's own test without harm [Pa].

    Returns
    -------
    tuple of float and str, or None
        The pressure [Pa] and why it counts; nothing where there is neither, and a formula has to do.

    Notes
    -----
    The proof test where the rating lies above it; the rating; the proof test over 1.5 where there is no rating.

    References
    ----------
    A person's own test outranks a figure; factor: Jurnal Polimesin 21(6), 2023.

    Examples
    --------
    >>> limit_of(7e6, None), limit_of(7e6, 6e6)[0], limit_of(None, 6e6)[0], limit_of(None, None)
    ((7000000.0, 'the rating in the book'), 6000000.0, 4000000.0, None)
    """
    if rated_pressure is not None and proof_pressure is not None and rated_pressure > proof_pressure:
        return proof_pressure, "your own proof test, which lies below the rating"
    if rated_pressure is not None:
        return rated_pressure, "the rating in the book"
    if proof_pressure is not None:
        return proof_pressure / TEST_FACTOR, f"your own proof test over {TEST_FACTOR:g}"
    return None


def case_margin(
    peak_pressure: float,
    inner_d: float,
    outer_d: float,
    material: str,
    rated_pressure: float | None = None,
    proof_pressure: float | None = None,
    yield_strength: float | None = None,
    wall_temperature: float = ROOM_TEMPERATURE,
    factor: float = FLIGHT_FACTOR,
    closure_pressure: float | None = None,
) -> CaseMargin:
    """Compare a peak pressure with a case's rating, proof test and wall.

    Parameters
    ----------
    peak_pressure : float
        Highest chamber pressure expected [Pa].
    inner_d, outer_d : float
        Of the case [m].
    material : str
        A key of `MATERIALS`, or 'other' [-].
    rated_pressure, proof_pressure : float, optional
        The maker's or the person's rating, and the person's own test without harm [Pa].
    yield_strength : float, optional
        The person's own least value [Pa].
    wall_temperature : float
        At peak pressure [K].
    factor : float
        Wanted between yield and working pressure: 2 for flight, 1.5 for tests [-].
    closure_pressure : float, optional
        At which the closures begin to let go, from `closure` [Pa].

    Returns
    -------
    CaseMargin
        Stresses, pressures [Pa] and factors [-].

    Raises
    ------
    CalcError
        The field at fault is named.

    Notes
    -----
    The limit is, in this order: the proof test where the rating lies above it; the rating; the proof test over
    1.5 where there is no rating; the formula. Gauge and absolute pressure differ by 1 bar, on the cautious side.

    References
    ----------
    Lame; factors: Jurnal Polimesin 21(6), 2023.

    Examples
    --------
    >>> result = case_margin(4e6, 0.0472, 0.0508, "aluminium_6061_t6", rated_pressure=7e6)
    >>> round(result.factor, 2), round(result.margin, 2), result.limit_words
    (4.4, 0.75, 'the rating in the book')
    """
    given = {"rated_pressure": rated_pressure, "proof_pressure": proof_pressure, "closure_pressure": closure_pressure}
    for name, value in given.items():
        if value is not None:
            positive(name, value, "Leave it empty if there is none.")
    within("factor", factor, 1.0, 10.0, "2 is usual for flight, 1.5 for tests.")
    bore = hoop_stress_bore(peak_pressure, inner_d, outer_d)
    least_yield, ultimate = strengths(material, wall_temperature, yield_strength)
    yield_pressure = least_yield * peak_pressure / bore
    burst = nan if np.isnan(ultimate) else burst_pressure(ultimate, inner_d, outer_d)
    by_closure = closure_pressure is not None and closure_pressure < yield_pressure
    design = (closure_pressure if closure_pressure is not None and by_closure else yield_pressure) / factor
    weakest = "yield of the closures" if by_closure else "yield at the bore"
    notes: list[Note | str] = []
    tested = limit_of(rated_pressure, proof_pressure)
    if tested is not None:
        limit, words = tested
    else:
        limit, words = design, f"the formula: {weakest} over {factor:g}"
        notes.append("No rating and no proof test: a formula knows nothing of scratches, threads, heat or age.")
    if peak_pressure > limit:
        notes.append(
            f"The expected peak is {100 * (peak_pressure / limit - 1):.0f} % over the limit: do not fire it so."
        )
    if proof_pressure is not None and peak_pressure * TEST_FACTOR > proof_pressure:
        notes.append(f"The proof test is less than {TEST_FACTOR:g} times the expected peak.")
    if design < limit:
        notes.append(
            Note(
                f"By formula ({weakest}) a factor of {factor:g} allows {{design}}, less than the limit in use.",
                {"design": Amount(design, "pressure")},
            )
        )
    return CaseMargin(
        peak_pressure=peak_pressure,
        bore_stress=bore,
        thin_stress=hoop_stress_thin(peak_pressure, inner_d, outer_d),
        yield_strength=least_yield,
        factor=least_yield / bore,
        yield_pressure=yield_pressure,
        burst=burst,
        design_pressure=design,
        by_closure=by_closure,
        limit=limit,
        limit_words=words,
        margin=limit / peak_pressure - 1,
        of_rated=None if rated_pressure is None else peak_pressure / rated_pressure,
        of_proof=None if proof_pressure is None else peak_pressure / proof_pressure,
        notes=tuple(notes),
    )
