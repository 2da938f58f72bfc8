"""What the words over a column say: what it holds and in which unit, in six languages, abbreviated or misspelt.

Words are compared without accents and case. What they do not say is left open: nothing here assumes a unit.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches

TIME, FORCE, PRESSURE, INDEX, OTHER = "time", "force", "pressure", "index", "other"
"""What a column may hold [-]; an index counts the lines, the other ones are none of a curve."""

_LIKE = 0.82  # how near a misspelt word must be, of 1
_LONG = 5  # letters from which a word may be misspelt

_UNIT_WORDS: Mapping[str, Mapping[str, str]] = {
    TIME: {
        "s": "s sec secs second seconds seg segs segundo segundos sek sekunde sekunden seconde secondes secondo "
        "secondi",
        "ms": "ms msec msecs milli millis milisegundos milissegundos millisecond milliseconds millisekunden "
        "millisecondes millisecondi mseg",
        "us": "us usec usecs micro micros microsecond microseconds mikrosekunden microsegundos microssegundos "
        "microsecondes microsecondi",
        "min": "min mins minute minutes minuten minuto minutos minuti",
    },
    FORCE: {
        "N": "n newton newtons newtonios newtonio",
        "kN": "kn kilonewton kilonewtons kilonewtonios",
        "kgf": "kg kgs kgf kilo kilos kilogram kilograms kilogramm kilogramme kilogrammes kilogramo kilogramos "
        "quilograma quilogramas quilo quilos chilogrammo chilogrammi chili kp kilopond kiloponds",
        "gf": "g gf gr grs grm gram grams gramm gramme grammes gramo gramos grama gramas grammo grammi pond",
        "lbf": "lb lbs lbf lbsf pound pounds libra libras livre livres libbra libbre",
        "ozf": "oz ozf ozs ounce ounces onza onzas onca oncas oncia once onces unze unzen",
        "counts": "count counts adc lsb digits",
        "mV": "mv millivolt millivolts milivoltios",
        "V": "v volt volts voltios",
    },
    PRESSURE: {
        "MPa": "mpa megapascal megapascals",
        "kPa": "kpa kilopascal kilopascals",
        "bar": "bar bars bara barg",
        "psi": "psi psia psig",
        "Pa": "pa pascal pascals",
    },
}
"""Words and signs of each unit in English, Portuguese, Spanish, German, French and Italian: from memory."""

_UNITS = {
    word: (role, unit) for role, units in _UNIT_WORDS.items() for unit, words in units.items() for word in words.split()
}

_EXACT = {
    word: role
    for role, words in (
        (OTHER, "temp tmp ax ay az gx gy gz lat lon alt vbat rssi"),
        (TIME, "t tempo tempi tempos temps tiempo tiempos hora heure ora ore horario"),
        (PRESSURE, "p pc pch"),
        (FORCE, "f fz masa masse massa mass peso pesos poids load loads zug lc cell celda cella zelle"),
        (INDEX, "i nr no num idx row line zeile linha fila ligne riga lfd sample samples"),
    )
    for word in words.split()
}
_BEGINS = {
    OTHER: "temperat thermo batt accel beschleun gyro altit height hohe speed veloc impuls energ humid status state "
    "relay ignit zund servo valve peak max",
    TIME: "time zeit sekund second segund millis milis micros mikros elapsed epoch clock fecha date datum stamp "
    "instant",
    PRESSURE: "press presion druck chamber brennkammer",
    FORCE: "thrust force forza fuerza forca empuj empux spinta pouss newton weight gewicht loadcell carga carico "
    "cellul celula messzelle wage waage balance bilancia balanca scale kilogr pound schub",
    INDEX: "index number numer muestra amostra echantillon campione messung",
}
_HOLDS = {FORCE: "kraft schub thrust gewicht", TIME: "zeit timestamp", PRESSURE: "druck"}
_SPELT = {
    word: role
    for role, words in (
        (FORCE, "thrust force weight newtons empuje empuxo spinta poussee schubkraft gewicht"),
        (PRESSURE, "pressure presion pressione"),
        (TIME, "seconds milliseconds"),
        (OTHER, "temperature"),
    )
    for word in words.split()
}
_WEAK = (
    "raw",
    "value",
    "valor",
    "valore",
    "valeur",
    "wert",
    "reading",
    "sensor",
    "channel",
    "canal",
    "kanal",
    "signal",
)
_RAW = ("raw", "roh", "brut", "crud", "grezz", "bruto", "unfilter", "ungefilter")
_SMOOTH = ("filt", "smooth", "average", "avg", "mean", "media", "mittel", "gemittelt", "moyen", "kalman")

_RATES = re.compile(r"\b(?:k?m|ft|deg|rad|g|kg|l|n|1)\s*/\s*(?:s|sec|h|min)(?:\^?2)?\b")
_IMPULSE = re.compile(r"\b(?:k?n|lbf?|kgf?)\s*[*.·x-]\s*s(?:ec)?\b|\b(?:n s|ns|lbf s)\b")
_PER_AREA = re.compile(r"\b(?:lbf?\s*/\s*(?:in|sq)|kgf?\s*/\s*cm|n\s*/\s*mm)")
_DEGREES = re.compile(r"(?:°|\bdeg\.?\s*|º)\s*[cfk]\b")
_UNSURE = re.compile(r"\b[nN]\b")
_VALUE = re.compile(r"[0-9][0-9.,]*\s*(?:[^\W\d_]+)|(?:[^\W\d_]+)\s*[:=]?\s*[0-9][0-9.,]*")


@dataclass(frozen=True)
class Meaning:
    """What words say of a column: what it holds ("" where they do not say), its unit, and how sure that is.

    `unit` is None where it is not said. `named` tells that a word of the trade says what it holds, not a unit alone or
    a word such as `value`; `raw` and `smooth` that it is said to be as measured, or filtered.
    """

    role: str = ""
    unit: str | None = None
    named: bool = False
    raw: bool = False
    smooth: bool = False


def fold(text: str) -> str:
    """Give words without accents and case.

    Parameters
    ----------
    text : str
        Any words [-].

    Returns
    -------
    str
        The same in small plain letters, a micro sign as u [-].

    References
    ----------
    Unicode Standard Annex 15, compatibility decomposition.

    Examples
    --------
    >>> fold("Poussée [µs] Größe")
    'poussee [us] grosse'
    """
    plain = unicodedata.normalize("NFKD", text.replace("µ", "u").replace("μ", "u"))
    return "".join(letter for letter in plain if not unicodedata.combining(letter)).casefold()


def meaning(head: str) -> Meaning:
    """Tell what the words over a column say it holds.

    Parameters
    ----------
    head : str
        Words over a column, or a unit alone [-].

    Returns
    -------
    Meaning
        What it holds, and the unit where that is said [-].

    Notes
    -----
    A word of the trade goes before a unit, and the unit in brackets is the one meant: `Raw thrust (N)` is newtons. A
    bare `n` says nothing: it counts lines, or stands for newtons. Masses stand for the weights they press with.

    References
    ----------
    Common words of six languages, from memory; kp for kilopond: DIN 1301, withdrawn (from memory).

    Examples
    --------
    >>> meaning("Kraft in kp")
    Meaning(role='force', unit='kgf', named=True, raw=False, smooth=False)
    >>> [meaning(head).role for head in ("Trust", "t/ms", "Massa [g]", "Temp", "n")]
    ['force', 'time', 'force', 'other', '']
    """
    plain = fold(head.replace("_", " "))
    words = _words(head)
    raw = any(word.startswith(_RAW) for word in words)
    smooth = any(word.startswith(_SMOOTH) for word in words)
    if _DEGREES.search(plain) or _RATES.search(plain) or _IMPULSE.search(plain):
        return Meaning(OTHER, named=True)
    if _PER_AREA.search(plain):
        return Meaning(PRESSURE, "psi" if "lb" in plain else None, named=True)
    role = _role(words)
    if head.strip().strip("#[]()").strip() in ("n", "N") or (not role and _UNSURE.fullmatch(plain.strip())):
        return Meaning()
    unit = _unit(_behind(words, plain), role) or _unit(words, role)
    if role in (TIME, FORCE, PRESSURE):
        return Meaning(role, unit, True, raw, smooth)
    if role:
        return Meaning(role, named=True)
    alone = [_UNITS[word] for word in words if word in _UNITS]
    if alone:
        found, unit = next((one for one in alone if one[0] == FORCE and one[1] != "counts"), alone[0])
        return Meaning(found, unit, False, raw, smooth)
    weak = raw or smooth or any(word.startswith(_WEAK) for word in words)
    return Meaning(FORCE if weak else "", None, False, raw, smooth)


def unit_said(line: str, role: str) -> str | None:
    """Find the unit that a line above a table gives for all of a kind, as in `Thrust in kg` or `Units: N, s`.

    Parameters
    ----------
    line : str
        One line [-].
    role : str
        What the unit is wanted of, as `FORCE` [-].

    Returns
    -------
    str or None
        The unit [-]; None where it is not said, or there are two.

    Notes
    -----
    The unit must follow the word it belongs to, or a word for units. A number with its unit, such as the mass of a
    grain or the end of a cell's range, says nothing of the columns and is passed over.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> unit_said("Units: N, s", FORCE), unit_said("Load cell 50 kg", FORCE), unit_said("Schub in kg", FORCE)
    ('N', None, 'kgf')
    """
    plain = _VALUE.sub(" | ", fold(line.replace("_", " ")))
    parts = re.findall(r"[a-z]+|\|", plain)
    units = {
        unit
        for i, part in enumerate(parts)
        if part in _UNITS and _UNITS[part][0] == role and _about(parts[max(0, i - 5) : i], role)
        for unit in [_UNITS[part][1]]
    }
    return units.pop() if len(units) == 1 else None


_ABOUT_UNITS = ("unit", "einheit", "unidad", "unite", "unita")
_BETWEEN = re.compile(r"in|en|em|is|are|as|or|and|oder|und|units?|cell|curve|kurve|values|data|column|measured|given")


def _about(before: list[str], role: str) -> bool:
    """Whether the words before a unit say that it is the one of a kind of column."""
    for word in reversed(before):
        if word.startswith(_ABOUT_UNITS) or _role([word]) == role:
            return True
        if not _BETWEEN.fullmatch(word) and word not in _UNITS:
            return False
    return False


def _words(head: str) -> list[str]:
    """The words of a head, those written together with a capital letter between them apart as well."""
    found: list[str] = []
    for word in re.findall(r"[^\W\d_]+", unicodedata.normalize("NFC", head.replace("μ", "µ"))):
        plain = fold(word)
        parts = re.findall(r"[A-ZÀ-Þ]?[a-zß-ÿµ]+|[A-ZÀ-Þ]+(?![a-zß-ÿ])", word)
        found += [fold(part) for part in parts] if len(parts) > 1 and plain not in _UNITS else [plain]
    return found


def _behind(words: list[str], plain: str) -> list[str]:
    """The words in brackets, or behind a stroke or `in`: where a unit is written."""
    inside = re.findall(r"[\[(]([^\])]*)[\])]|/\s*([a-z]+)|\b(?:in|en|em)\s+([a-z]+)", plain)
    return [word for groups in inside for group in groups for word in re.findall(r"[a-z]+", group) if word in words]


def _role(words: Iterable[str]) -> str:
    """What the words of the trade among these say a column holds."""
    words = [word for word in words if word not in _UNITS or _EXACT.get(word) == FORCE]
    found = [role for word in words if (role := _role_of(word))]
    return next((role for role in (OTHER, TIME, PRESSURE, FORCE, INDEX) if role in found), "")


def _role_of(word: str) -> str:
    if word in _EXACT:
        return _EXACT[word]
    for role, parts in _HOLDS.items():
        if any(part in word for part in parts.split()):
            return role
    for role, stems in _BEGINS.items():
        if word.startswith(tuple(stems.split())):
            return role
    near = get_close_matches(word, _SPELT, 1, _LIKE) if len(word) >= _LONG else []
    return _SPELT[near[0]] if near else ""


def _unit(words: Iterable[str], role: str) -> str | None:
    """The unit among words that fits what a column holds."""
    words = list(words)
    found = [unit for word in words if word in _UNITS for kind, unit in [_UNITS[word]] if kind == role]
    firm = [unit for unit in found if unit != "counts"] or found
    if firm:
        return firm[-1]
    for word in words:
        near = get_close_matches(word, [w for w in _UNITS if len(w) >= _LONG], 1, _LIKE) if len(word) >= _LONG else []
        if near and _UNITS[near[0]][0] == role:
            return _UNITS[near[0]][1]
    return None
