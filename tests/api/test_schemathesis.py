"""The service held to its own OpenAPI document by schemathesis, a program that is not ours, on a real store."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from api.house import Access
from farm.alarm_words import Priority
from farm.roles import Role
from store.alarm_entries import AlarmEntry
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.api.conftest import NOW_US, T0_US, fill, tell
from tests.serving import Served
from watch.judged import JudgedReadings

pytest.importorskip("schemathesis", reason="schemathesis is not installed")
pytestmark = pytest.mark.slow

LONGEST_S = 90
ALARM = AlarmEntry("testfarm", "door_open/room", T0_US, T0_US, None, Priority.HIGH, "door", detail={"text": "Open."})
CHECKS = ",".join(
    (
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_headers_conformance",
        "response_schema_conformance",
        "negative_data_rejection",
        "missing_required_header",
        "unsupported_method",
        "ignored_auth",
    )
)  # not positive_data_acceptance: no schema says that a range runs forward, or which series there are
# A body that is too long is refused as such (413), which the program does not take for a refusal.
SETTINGS = """[checks.negative_data_rejection]
expected-statuses = [400, 401, 403, 404, 405, 406, 411, 413, 415, 422, 429]
"""


def test_whatever_is_asked_the_answers_are_what_the_document_says(house, tmp_path):
    with EmbeddedStore(tmp_path) as store, Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        (tmp_path / "schemathesis.toml").write_text(SETTINGS)
        fill(store, journal)
        tell(journal)
        journal.alarms.replace("testfarm", ALARM.condition, 0, [ALARM], NOW_US)
        _, token = journal.tokens.make("testfarm", "Ada", Role.KEEPER, 1, "kim")
        served = Served(
            replace(
                house,
                store=JudgedReadings("testfarm", store, journal),
                journal=journal,
                scratch=tmp_path,
                access=Access(required=True),
            )
        )
        try:
            began = time.monotonic()
            ran = subprocess.run(
                [
                    Path(sys.executable).parent / "st", "run", f"{served.url}api/v1/openapi.json",
                    "--header", f"Authorization: Bearer {token}", "--checks", CHECKS, "--max-examples", "12",
                    "--exclude-path", "/api/v1/events",  # it has no end: tests/api/test_events.py
                    "--max-time", "45", "--request-timeout", "15", "--seed", "1", "--no-color", "--warnings", "off",
                    "--continue-on-failure", "--suppress-health-check", "all",
                ],
                capture_output=True, text=True, timeout=LONGEST_S, cwd=tmp_path, check=False,
            )  # fmt: skip
        finally:
            served.stop()
    told = "\n".join(line[:400] for line in ran.stdout.splitlines())  # what is sent may be very long
    assert ran.returncode == 0, told[-8000:] + ran.stderr[-2000:]
    assert time.monotonic() - began < LONGEST_S
    tested = re.search(r"Tested: (\d+)", ran.stdout)
    assert tested, ran.stdout[-3000:]
    assert int(tested[1]) >= 44, "every operation but the stream"
    assert int(re.search(r"(\d+) generated", ran.stdout)[1]) > 1000
