"""A browser is let in by the one-time address that the program prints, as a person lets it in."""

import re
import urllib.error
import urllib.request
from email.message import Message
from typing import IO

ONE_TIME = re.compile(r"http://127\.0\.0\.1:\d+/enter/[0-9a-f]+")


class _Stay(urllib.request.HTTPRedirectHandler):
    """Follows nothing: what the first answer sets is looked at."""

    def redirect_request(
        self, _request: urllib.request.Request, _body: IO[bytes], _code: int, _words: str, _head: Message, _url: str
    ) -> None:
        return None


def asked(address: str, cookie: str = "", **headers: str) -> tuple[int, Message, str]:
    """One request: status, head and text of its answer; nothing is followed."""
    request = urllib.request.Request(address, headers={**({"Cookie": cookie} if cookie else {}), **headers})
    try:
        with urllib.request.build_opener(_Stay).open(request, timeout=60) as answer:
            return answer.status, answer.headers, answer.read().decode()
    except urllib.error.HTTPError as answer:
        with answer:
            return answer.code, answer.headers, answer.read().decode()


def entered(one_time: str) -> str:
    """Enter by a one-time address; the cookie that the browser sends from then on."""
    status, head, text = asked(one_time)
    assert status == 303, text
    assert head["location"] == "/"
    return str(head["set-cookie"]).partition(";")[0]
