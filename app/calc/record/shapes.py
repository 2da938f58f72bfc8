"""What the lines of a text look like that are samples, told by lines of several of its places."""

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from app.calc.record.cell_text import cell_pattern, clock_pattern, kind, padded, to_number, to_seconds
from app.calc.record.logger_text import ARROW, DELIMITERS, DRESSED, Layout, cells, grouped, sample_lines, split
from app.calc.record.tags import Tag, kinds_of_lines

_RARE = 0.1  # share of lines from which a count of cells is usual
_FALLS = 2  # more falls of a clock as it stands than with its zeros filled in
_DECIMALS = re.compile(r"[.,:]([0-9]+)$")
_GROUPED_IN_COMMAS = re.compile(r"(?<![\d.])(\d{1,3}),(\d{3}(?:\.\d+)?)(?![\d])")


@dataclass(frozen=True)
class Shape:
    """What a line must look like to be a sample."""

    layout: Layout
    wanted: tuple[int, ...]
    least: int
    usual: int
    clocks: frozenset[int]
    grouped: bool
    pattern: re.Pattern[str]
    thousands: re.Pattern[str] | None
    odd: re.Pattern[bytes] | None
    unpadded: Mapping[int, int]
    tag: Tag | None = None

    @property
    def by_lines(self) -> bool:
        """Whether each line needs a look of its own."""
        return bool(self.clocks or self.grouped or self.least != self.usual or self.unpadded or self.tag)

    def match(self, words: str) -> re.Match[str] | None:
        """A line as a sample, its wanted numbers as groups, or None."""
        match = self.pattern.fullmatch(words)
        if match is None or self.tag is None or self.tag.on(split(words, self.layout.delimiter)):
            return match
        return None

    def numbers(self, groups: tuple[str, ...]) -> list[float]:
        """The wanted numbers of a line that fits."""
        return [self._number(c, text) for c, text in zip(sorted(set(self.wanted)), groups, strict=True)]

    def _number(self, column: int, text: str) -> float:
        if column in self.unpadded:
            text = padded(text, self.unpadded[column])
        return to_seconds(text) if column in self.clocks else to_number(text, self.layout.decimal, self.grouped)

    def with_thousands(self, words: str) -> list[float] | None:
        """The numbers of a line of commas with one too many, where a comma that sets thousands apart explains it."""
        if self.thousands is None or self.tag or words.count(",") <= self.usual - 1:
            return None
        match = self.thousands.fullmatch(_GROUPED_IN_COMMAS.sub(r'"\1,\2"', words))
        if match is None:
            return None
        return [
            to_seconds(text) if c in self.clocks else to_number(text, ".", True)
            for c, text in zip(sorted(set(self.wanted)), match.groups(), strict=True)
        ]

    def fault(self, words: str) -> str:
        """What is wrong with a line, as it follows its number."""
        row = cells(words, self.layout.delimiter)
        if self.tag is not None and self.pattern.fullmatch(words):
            return f"says “{row[self.tag.column][:12]}” and not “{self.tag.word}”"
        for column in self.wanted:
            if column > len(row):
                return f"has {len(row)} of the {self.usual} columns"
            cell = row[column - 1]
            what = kind(cell, self.layout.decimal, self.grouped)
            if what not in ("number", "clock", "dressed"):
                return (
                    f"holds “{cell[:30]}”, which is not a number, in column {column}"
                    if cell
                    else (f"holds nothing in column {column}")
                )
        return f"has {len(row)} columns instead of {self.usual}"


def shape_of(text: bytes, layout: Layout, wanted: tuple[int, ...]) -> Shape:
    """Tell what lines that are samples look like.

    Parameters
    ----------
    text, layout : bytes, Layout
        From `plain_text`, and how it is made up [-].
    wanted : tuple of int
        Columns, counted from 1 [-].

    Returns
    -------
    Shape
        What most lines hold in these columns, and how many cells are usual [-].

    Examples
    --------
    >>> shape_of(b"0;2\\n1;3;\\n2;4\\n", Layout("semicolon", ".", 1, 2), (2,)).usual
    3
    """
    thousands = grouped(text, layout.delimiter, layout.decimal)
    rows = [split(line, layout.delimiter) for line in sample_lines(text, layout.first_line)]
    tag = kinds_of_lines(rows)
    rows = [row for row in rows if tag is None or tag.on(row)]
    kinds = [
        [kind(row[c - 1].strip().strip('"').strip(), layout.decimal, thousands) for c in wanted]
        for row in rows
        if len(row) >= max(wanted)
    ]
    usual = [Counter(k[i] for k in kinds).most_common(1)[0][0] if kinds else "number" for i in range(len(wanted))]
    fits = [row for row in rows if len(row) >= max(wanted)]
    fits = [row for row in fits if _all_fit(row, wanted, usual, layout.decimal, thousands)]
    counts = Counter(len(row) for row in fits)
    if layout.delimiter == "comma" and layout.decimal == "." and not thousands:
        counts = _without_joined(fits, counts)
    total = sum(counts.values())
    common = [n for n, times in counts.items() if times >= _RARE * total] or [max(wanted)]
    order = sorted(set(wanted))
    by_column = dict(zip(wanted, usual, strict=True))
    clocks = frozenset(c for c in order if by_column[c] == "clock")
    least, most = min(common), max(common)
    pattern = _pattern(order, by_column, layout, (least, most), thousands)
    joined = None
    if layout.delimiter == "comma" and layout.decimal == "." and not thousands:
        joined = _pattern(order, by_column, layout, (least, most), True)
    short = {c: width for c in order if (width := _unpadded([row[c - 1].strip(' "') for row in fits], c in clocks))}
    odd = None if short or tag else _odd(layout, most, clocks)
    return Shape(layout, wanted, least, most, clocks, thousands, pattern, joined, odd, short, tag)


def _without_joined(rows: list[list[str]], counts: Counter[int]) -> Counter[int]:
    """How many cells are usual, where a comma in larger numbers sets thousands apart and parts no cells."""
    least = min(counts, default=0)
    more = [row for row in rows if len(row) > least]
    if not more or counts[least] < _RARE * len(rows):
        return counts
    joined = [_GROUPED_IN_COMMAS.sub(r"\1\2", ",".join(row)).count(",") + 1 for row in more]
    return Counter({least: len(rows)}) if joined.count(least) >= 0.98 * len(more) else counts


def _number_in(text: str) -> str:
    match = DRESSED["."].fullmatch(text.replace(",", "."))
    return match.group(1) if match else ""


def _unpadded(texts: list[str], clock: bool) -> int:
    """How many decimals a column has whose program leaves out zeros in front of them (12.5 for 12.005); else none."""
    bare = [text if clock else _number_in(text) for text in texts]
    found = [(text, match[1]) for text in bare if (match := _DECIMALS.search(text))]
    widths = {len(decimals) for _, decimals in found}
    if len(found) < 0.9 * len(texts) or len(widths) < 2 or max(widths) not in (3, 6):
        return 0
    width = max(widths)
    texts = [text for text, _ in found]

    def falls(values: list[str]) -> int:
        numbers = [to_seconds(value) if clock else float(value) for value in values]
        return sum(b < a for a, b in pairwise(numbers))

    as_it_is, filled = falls(texts), falls([padded(text, width) for text in texts])
    return width if as_it_is - filled >= _FALLS and filled <= as_it_is / 2 else 0


def _odd(layout: Layout, count: int, clocks: frozenset[int]) -> re.Pattern[bytes] | None:
    """A line that is not plain numbers alone, where most lines are."""
    sign = DELIMITERS[layout.delimiter]
    if sign is None or clocks or sign == layout.decimal:
        return None
    number = rb"[-+0-9" + layout.decimal.encode() + rb"]+"
    more = rb"(?:" + re.escape(sign).encode() + number + rb"){%d}" % (count - 1)
    return re.compile(rb"^(?!" + number + more + rb"\r?\n)[^\n]*\n", re.MULTILINE)


def _all_fit(row: list[str], wanted: tuple[int, ...], usual: list[str], decimal: str, thousands: bool) -> bool:
    return all(
        kind(row[c - 1].strip().strip('"').strip(), decimal, thousands) == u for c, u in zip(wanted, usual, strict=True)
    )


def _pattern(
    order: list[int], kinds: dict[int, str], layout: Layout, counts: tuple[int, int], thousands: bool
) -> re.Pattern[str]:
    """A line that is a sample, its wanted numbers as groups."""
    sign = DELIMITERS[layout.delimiter]
    least, most = counts
    held = {
        c: clock_pattern() if kinds[c] == "clock" else cell_pattern(layout.decimal, thousands, kinds[c] == "dressed")
        for c in order
    }
    if sign is None:
        between, any_cell, blank = r"\s+", r"\S+", r"\s*"
        held = {c: p.replace(r"\s*", "") for c, p in held.items()}
    else:
        s = re.escape(sign)
        between = rf"(?:{s}|{re.escape(ARROW)})"
        any_cell = rf'(?:\s*"[^"]*"\s*|[^{s}"]*?)'
        blank = r"\s*"
    parts = [held.get(c, any_cell) for c in range(1, order[-1] + 1)]
    more = f"(?:{between}{any_cell}){{{max(least - order[-1], 0)},{max(most - order[-1], 0)}}}"
    beside = rf'(?:{between}(?:\s*(?:{between}.*)?|\s*"?[^\W\d].*))?' if sign else r"(?:\s+[^\W\d].*)?"
    return re.compile(blank + between.join(parts) + more + beside + r"\s*")
