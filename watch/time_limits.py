"""An end to every try: what a channel does after its time counts for nothing, and holds up nobody."""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Callable

from store.notice_entries import Outcome
from watch.channels import Answer, Message

LONGEST_TRY_S = 180.0  # a server may take its time over each answer, not over all of them; our choice, no source
MOST_HANGING = 3  # tries of one channel that never ended: no more are begun before one has; our choice, no source


class TimeLimit:
    """Sends by another's means, for so long and no longer.

    Threads cannot be ended from outside. One that hangs is left to itself, and its channel gets no more than a few.
    """

    def __init__(self, send: Callable[[Message], Answer], longest_s: float = LONGEST_TRY_S) -> None:
        self._send, self._longest_s = send, longest_s
        self._hanging: defaultdict[tuple[str, str], list[threading.Thread]] = defaultdict(list)

    def send(self, message: Message) -> Answer:
        """Send one message; call this for one message of a channel at a time.

        Raises
        ------
        Exception
            Whatever the channel raised.
        """
        channel = message.notice.person, message.notice.channel
        hanging = [thread for thread in self._hanging.pop(channel, []) if thread.is_alive()]
        if hanging:
            self._hanging[channel] = hanging
        if len(hanging) >= MOST_HANGING:
            return Answer(Outcome.LATER, f"{len(hanging)} tries before never came to an end: restart Leafweather")
        answers: list[Answer] = []
        failures: list[Exception] = []

        def attempt() -> None:
            try:
                answers.append(self._send(message))
            except Exception as error:  # raised below, in the thread that waits for it
                failures.append(error)

        thread = threading.Thread(target=attempt, name=f"try {channel[1]}", daemon=True)
        thread.start()
        thread.join(self._longest_s)
        if failures:
            raise failures[0]
        if answers:
            return answers[0]
        self._hanging[channel].append(thread)
        return Answer(Outcome.UNSURE, f"no end within {self._longest_s:.0f} s")
