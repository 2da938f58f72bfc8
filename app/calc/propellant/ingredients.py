"""The ingredients of the family: potassium nitrate, sugars and sugar alcohols, with their properties.

Anything else is refused by name, with the reason.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from app.calc.base.errors import BlendError

ATOMIC_MASS = {"C": 12.011, "H": 1.008, "N": 14.007, "O": 15.999, "K": 39.0983}
"""Standard atomic weights, IUPAC [g/mol]."""
_FAMILY = "Grainbook stays inside the potassium-nitrate/sugar family"


@dataclass(frozen=True)
class Ingredient:
    """One thing that may go into a blend.

    Attributes
    ----------
    key, name : str
        Key in a blend, and the name as a person says it.
    kind : str
        'oxidiser' or 'sugar'.
    sugar_alcohol : bool
        A sugar alcohol melts first and low; other sugars follow it.
    elements : mapping of str to int
        Atoms per formula unit.
    molar_mass : float
        [kg/mol]
    density : float
        Of the crystal near 20 °C [kg/m³].
    enthalpy_of_formation : float
        Of the solid at 298.15 K [J/mol].
    melting : (float, float)
        Range of melting over forms and sources [K].
    source : str
        Where the numbers come from.
    """

    key: str
    name: str
    kind: Literal["oxidiser", "sugar"]
    sugar_alcohol: bool
    elements: Mapping[str, int]
    molar_mass: float
    density: float
    enthalpy_of_formation: float
    melting: tuple[float, float]
    source: str

    @property
    def formula(self) -> str:
        """The chemical formula, as `C6H14O6`."""
        return "".join(f"{atom}{count if count > 1 else ''}" for atom, count in self.elements.items())


def _ingredient(
    key: str,
    name: str,
    elements: Mapping[str, int],
    density: float,
    enthalpy: float,
    melting: tuple[float, float],
    source: str,
    sugar_alcohol: bool = False,
) -> Ingredient:
    molar_mass = sum(ATOMIC_MASS[atom] * count for atom, count in elements.items()) / 1000
    kind: Literal["oxidiser", "sugar"] = "oxidiser" if "K" in elements else "sugar"
    return Ingredient(key, name, kind, sugar_alcohol, elements, molar_mass, density, enthalpy * 1000, melting, source)


_CRC = "CRC Handbook of Chemistry and Physics and NIST Chemistry WebBook, from memory"

INGREDIENTS: dict[str, Ingredient] = {
    item.key: item
    for item in (
        _ingredient(
            "potassium_nitrate", "Potassium nitrate", {"K": 1, "N": 1, "O": 3}, 2109.0, -494.6, (607.0, 607.0), _CRC
        ),
        _ingredient(
            "sorbitol",
            "Sorbitol",
            {"C": 6, "H": 14, "O": 6},
            1489.0,
            -1353.5,
            (368.0, 384.0),
            _CRC + "; melting depends on the crystal form",
            sugar_alcohol=True,
        ),
        _ingredient(
            "mannitol",
            "Mannitol",
            {"C": 6, "H": 14, "O": 6},
            1520.0,
            -1337.1,
            (437.0, 441.0),
            _CRC + "; lower melting point J. Chem. Eng. Data 55 (2010) 119",
            sugar_alcohol=True,
        ),
        _ingredient(
            "erythritol",
            "Erythritol",
            {"C": 4, "H": 10, "O": 4},
            1451.0,
            -910.5,
            (391.0, 394.0),
            "NIST Chemistry WebBook, 149-32-6 (enthalpy -217.61 kcal/mol, Parks et al. 1946, listed there as "
            "liquid; fusion 390.9 K); density from memory",
            sugar_alcohol=True,
        ),
        _ingredient(
            "xylitol", "Xylitol", {"C": 5, "H": 12, "O": 5}, 1520.0, -1118.5, (365.0, 369.0), _CRC, sugar_alcohol=True
        ),
        _ingredient(
            "sucrose",
            "Sucrose",
            {"C": 12, "H": 22, "O": 11},
            1588.0,
            -2222.1,
            (433.0, 463.0),
            _CRC + "; browns and decomposes as it melts",
        ),
        _ingredient(
            "dextrose",
            "Dextrose (anhydrous)",
            {"C": 6, "H": 12, "O": 6},
            1562.0,
            -1273.3,
            (419.0, 423.0),
            _CRC + "; the monohydrate is another substance",
        ),
        _ingredient(
            "fructose",
            "Fructose",
            {"C": 6, "H": 12, "O": 6},
            1694.0,
            -1265.6,
            (376.0, 378.0),
            _CRC + "; decomposes as it melts",
        ),
    )
}

_SPELLINGS = {
    "kno3": "potassium_nitrate",
    "kn": "potassium_nitrate",
    "saltpetre": "potassium_nitrate",
    "saltpeter": "potassium_nitrate",
    "nitrate of potash": "potassium_nitrate",
    "glucitol": "sorbitol",
    "d-sorbitol": "sorbitol",
    "d-mannitol": "mannitol",
    "sugar": "sucrose",
    "table sugar": "sucrose",
    "cane sugar": "sucrose",
    "beet sugar": "sucrose",
    "saccharose": "sucrose",
    "glucose": "dextrose",
    "d-glucose": "dextrose",
    "grape sugar": "dextrose",
    "dextrose (anhydrous)": "dextrose",
    "fruit sugar": "fructose",
    "levulose": "fructose",
}

_REFUSED = (
    (("perchlorate", "chlorate", "nh4clo4", "kclo"), "perchlorates and chlorates are other oxidisers"),
    (
        ("ammonium", "sodium nitrate", "nano3", "barium nitrate", "strontium nitrate", "permanganate"),
        "the only oxidiser is potassium nitrate",
    ),
    (
        ("aluminium", "aluminum", "magnesium", "magnalium", "titanium", "zinc", "metal", "iron powder"),
        "metal powders make it another propellant",
    ),
    (("sulfur", "sulphur", "charcoal", "black powder"), "sulfur and charcoal make it another composition"),
    (("iron oxide", "fe2o3", "rust", "catalyst", "copper", "manganese"), "burn-rate catalysts are left out"),
    (("water", "h2o"), "water is dried out, it is no part of a formula"),
    (("monohydrate", "hydrate"), "the water of a hydrate boils in the melt; dry it and enter the anhydrous"),
)


def lookup(name: str) -> Ingredient:
    """Find an ingredient by its key or by a common spelling.

    Parameters
    ----------
    name : str
        Key, name or spelling, in any case [text].

    Returns
    -------
    Ingredient
        The ingredient, with its properties in SI.

    Raises
    ------
    BlendError
        If it is not in the family; the message says why.

    Notes
    -----
    Spellings are those of shops and benches; no chemistry is guessed from a name.

    References
    ----------
    The family and its limits are Grainbook's own choice; the properties carry their own source.

    Examples
    --------
    >>> lookup("Saltpetre").key
    'potassium_nitrate'
    >>> lookup("glucose").formula
    'C6H12O6'
    """
    plain = " ".join(name.replace("_", " ").lower().split())
    key = _SPELLINGS.get(plain, plain.replace(" ", "_"))
    if key in INGREDIENTS:
        return INGREDIENTS[key]
    reason = next((why for words, why in _REFUSED if any(word in plain for word in words)), "")
    known = ", ".join(item.name.lower() for item in INGREDIENTS.values())
    said = f"{_FAMILY}; {reason}." if reason else f"{_FAMILY}."
    raise BlendError("ingredient", f"'{name}' is not taken. {said}", f"Use one of: {known}.")
