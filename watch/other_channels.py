"""Notices by any other channel that the apprise library reaches; it is an extra of the installation."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from urllib.parse import quote

from farm.notices import Notices
from store.notice_entries import Outcome
from watch.channels import Answer, Channel, Message

_PLACE = re.compile(r"\{([a-z0-9_-]+)\}")
logging.getLogger("apprise").addFilter(lambda _: False)  # what it logs holds addresses and secrets


@dataclass(frozen=True, slots=True)
class Others:
    """The sort of channel that the library reaches; ``secrets`` by name."""

    secrets: Mapping[str, str] = field(repr=False)

    def channels(self, notices: Notices, person: str) -> Iterator[tuple[str, Channel]]:
        """Yield a person's other channels."""
        for number, url in enumerate(notices.people[person].others, 1):
            yield f"other {number}", OtherChannel(self.secrets, url)


class OtherChannel:
    """One address in the library's form."""

    def __init__(self, secrets: Mapping[str, str], url: str) -> None:
        self._secrets, self._url = secrets, url

    def send(self, message: Message) -> Answer:
        """Send one message; the library tells no more than whether it was taken."""
        missing = [name for name in _PLACE.findall(self._url) if name not in self._secrets]
        if missing:
            return Answer(Outcome.LATER, f"there is no secret {', '.join(missing)}: LEAFWEATHER_SECRETS_FILE")
        try:
            import apprise
        except ModuleNotFoundError:
            return Answer(Outcome.LATER, "this channel needs apprise: pip install 'leafweather[channels]'")
        url = _PLACE.sub(lambda found: quote(self._secrets[found[1]], safe=""), self._url)
        sender = apprise.Apprise()
        if not sender.add(url):
            return Answer(Outcome.REFUSED, "apprise does not know an address of this form")
        try:
            taken = sender.notify(title=message.notice.subject, body=message.text)
        except Exception as error:  # any service's own
            return Answer(Outcome.UNSURE, f"apprise failed: {type(error).__name__}")
        return Answer(Outcome.TAKEN, "taken") if taken else Answer(Outcome.LATER, "apprise says that it was not taken")
