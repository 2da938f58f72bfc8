"""The published tables that calculations are checked against; each names its source in its head."""

import csv
from pathlib import Path

FOLDER = Path(__file__).parent / "calc" / "published"


def published(name: str) -> list[dict[str, str]]:
    """The rows of a table as printed, without the lines that name its source."""
    lines = (FOLDER / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def numbers(text: str) -> list[float]:
    """The numbers of a cell that holds several."""
    return [float(part) for part in text.split()]


def half_digit(printed: str) -> float:
    """Half of one in the last digit of a printed number, and a little for rounding."""
    mantissa, _, power = printed.partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 0.5000001 * 10.0 ** (int(power or 0) - decimals)
