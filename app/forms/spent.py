"""What a once-only token was spent on: by it the same form sent again is told from another one.

Kept are the address and the texts of the form's own fields; for a file its SHA-256 stands. A field that is marked
`json_schema_extra={"secret": True}` is kept as a keyed digest whose key goes with the program: after a restart a second
sending of it counts as another one, and the book never holds it.
"""

import hashlib
import hmac
import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass

from app.forms.form import Form
from app.forms.sent import Texts
from app.models import OnceToken

_KEY = secrets.token_bytes(32)
_VERSION = "version"
"""Kept beside the fields: no field is called so, for `from_texts` takes it off."""


@dataclass(frozen=True)
class Difference:
    """A field that holds something else now than when its form was saved: both, in words."""

    label: str
    then: str
    now: str


def spend(form: Form, url: str, sums: Mapping[str, str]) -> OnceToken:
    """The token as it is kept: spent on what stands in the form, which led to the page `url`."""
    kept: dict[str, list[str]] = _content(form, sums)
    if form.version is not None:
        kept[_VERSION] = [str(form.version)]
    text = json.dumps(kept, ensure_ascii=False, separators=(",", ":"))
    return OnceToken(token=form.once, url=url, address=form.action, sent_json=text)


def is_same(token: OnceToken, form: Form, sums: Mapping[str, str]) -> bool:
    """Whether a spent token was spent on just this; one of an older Grainbook does not say on what."""
    return not token.address or (token.address == form.action and not differences(token, form, sums))


def differences(token: OnceToken, form: Form, sums: Mapping[str, str]) -> list[Difference]:
    """What stands in a form now and did not when its token was spent, in the order of the form."""
    then, now = _kept(token), _content(form, sums)
    order = {name: i for i, name in enumerate(form.model.model_fields)}
    names = sorted(then.keys() | now.keys(), key=lambda name: (order.get(name.split(".")[0], len(order)), name))
    return [
        Difference(form.label(name), _words(form, name, then), _words(form, name, now))
        for name in names
        if then.get(name) != now.get(name)
    ]


def version_after(token: OnceToken, form: Form) -> int | None:
    """The version of the row as the first save left it, if nobody changed it since; what was sent, elsewhere."""
    saved = json.loads(token.sent_json).get(_VERSION)
    as_saved = token.address == form.action and form.version is not None and saved == [str(form.version)]
    return form.version + 1 if as_saved and form.version is not None else form.version


def _kept(token: OnceToken) -> Texts:
    return {name: texts for name, texts in json.loads(token.sent_json).items() if name != _VERSION}


def _content(form: Form, sums: Mapping[str, str]) -> Texts:
    kept: Texts = {}
    for name, texts in form.values.items():
        filled = [plain for text in texts if (plain := text.replace("\r\n", "\n").strip())]
        if form.has(name) and filled:
            kept[name] = [_sealed(text) for text in filled] if form.is_secret(name) else filled
    for name, digest in sums.items():
        kept[name] = [*kept.get(name, [""])[:1], digest]
    return kept


def _sealed(text: str) -> str:
    return hmac.new(_KEY, text.encode(), hashlib.sha256).hexdigest()


def _words(form: Form, name: str, values: Texts) -> str:
    texts = values.get(name, [])
    if not texts:
        return "nothing"
    if form.is_secret(name):
        return "not shown"
    if len(texts) == 2 and name == "file":
        return f"{texts[0] or 'a file without a name'} (SHA-256 {texts[1][:12]}…)"
    return ", ".join(form.words(name, text) for text in texts)
