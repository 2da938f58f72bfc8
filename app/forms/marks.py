"""Which fields of a form say whether they must be filled in: those of the fewer of the two kinds.

A field is drawn with a mark that shows nothing; when the form is drawn whole, its marks are counted, and become words
beside the labels of the fewer kind. So what is counted is what stands on the page, whichever fields a page draws.
"""

from markupsafe import Markup

OPTIONAL, NEEDED = Markup("<!--optional-->"), Markup("<!--needed-->")
NOT_ASKED = Markup("<!--not asked now-->")
"""Behind a mark: its field is hidden by the choices made, and does not count."""

_WORDS = Markup(' <span class="muted">(%s)</span>')
_ONCE = Markup('<p class="hint">%s</p>')
REST, ALL = "What is not marked “needed” is optional.", "All of it is optional."


def marked(drawn: Markup) -> Markup:
    """A form as drawn, with the fewer of its two kinds of field marked in words; alike many: the optional ones.

    Where the needed ones are marked it says once, at its head, that the rest is optional. A single field is marked
    itself.
    """
    optional, needed = (drawn.count(kind) - drawn.count(kind + NOT_ASKED) for kind in (OPTIONAL, NEEDED))
    rest = optional > max(needed, 1 - needed)
    drawn = drawn.replace(OPTIONAL, "" if rest else _WORDS % "optional")
    drawn = drawn.replace(NEEDED, _WORDS % "needed" if rest else "").replace(NOT_ASKED, "")
    return _ONCE % (REST if needed else ALL) + drawn if rest else drawn
