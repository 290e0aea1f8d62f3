"""Ways by which a notice reaches a person: what goes out, what came back, and which addresses a person has."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from farm.notices import Notices
from store.notice_entries import Notice, Outcome

LONGEST_ANSWER = 200  # characters of an answer that are kept


@dataclass(frozen=True, slots=True)
class Message:
    """One notice as it goes out; ``link`` opens the page on which its reader acknowledges."""

    notice: Notice
    farm_title: str
    person_label: str
    link: str | None = None

    @property
    def text(self) -> str:
        """The plain text with its link."""
        if self.link is None:
            return self.notice.text
        how = "To acknowledge for everybody, open this page and press its button. The link is yours and works once:"
        return f"{self.notice.text}\n{how}\n{self.link}\n"


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of a try; ``text`` holds neither addresses nor secrets."""

    outcome: Outcome
    text: str
    retry_after_s: float = 0.0


class Channel(Protocol):
    """One address of a person."""

    def send(self, message: Message) -> Answer:
        """Send one message, and return what came of it: no failure of the other side is raised."""


class Way(Protocol):
    """One sort of channel, such as mail."""

    def channels(self, notices: Notices, person: str) -> Iterable[tuple[str, Channel]]:
        """Return a person's addresses of this sort under their names, such as ``mail 1``."""


class Channels:
    """Every address of everybody, by person and name."""

    def __init__(self, notices: Notices, ways: Iterable[Way]) -> None:
        ways = list(ways)
        self._by_person: Mapping[str, dict[str, Channel]] = {
            person: {name: channel for way in ways for name, channel in way.channels(notices, person)}
            for person in notices.people
        }

    def of(self, person: str) -> list[str]:
        """Return the names of a person's channels; none for somebody unknown."""
        return list(self._by_person.get(person, ()))

    def send(self, message: Message) -> Answer:
        """Send a notice by its channel."""
        channel = self._by_person.get(message.notice.person, {}).get(message.notice.channel)
        if channel is None:
            return Answer(Outcome.REFUSED, "farm.toml has no such person or address any more")
        return channel.send(message)


def harmless(text: str, secrets: Iterable[str] = ()) -> str:
    """Return another program's words without addresses, secrets and control characters, and not too long.

    Examples
    --------
    >>> harmless("550 5.1.1 <ada@farm.example>: unknown, see https://farm.example/x?k=1")
    '550 5.1.1 (address): unknown, see (address)'
    """
    for secret in secrets:
        if secret:
            text = text.replace(secret, "(secret)")
    text = re.sub(r"<?[^\s<>]+@[^\s<>:,;]+>?|\b[a-z][a-z0-9+.-]*://\S+", "(address)", text, flags=re.IGNORECASE)
    text = "".join(character if character.isprintable() else " " for character in text)
    text = " ".join(text.split())
    return text if len(text) <= LONGEST_ANSWER else text[: LONGEST_ANSWER - 1] + "…"
