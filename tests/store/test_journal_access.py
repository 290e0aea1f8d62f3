"""Tokens, sessions and the audit log at rest: secrets are not kept, farms are apart, an end is an end."""

from __future__ import annotations

import hashlib
import hmac
import sqlite3

import pytest

from farm.roles import Role
from store import journal_tokens
from store.access_entries import Standing, Written
from store.journal import Journal
from store.journal_audit import STRANGERS_KEPT
from store.journal_tokens import SESSIONS_KEPT

NOW = 1_772_366_400_000_000
HOUR = 3_600_000_000


@pytest.fixture
def journal(tmp_path):
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as opened:
        yield opened


def test_each_role_may_do_what_the_ones_before_it_may():
    allowed = {(role, least): role.may(least) for role in Role for least in Role}
    assert {pair for pair, may in allowed.items() if may} == {
        ("viewer", "viewer"), ("technician", "viewer"), ("technician", "technician"),
        ("keeper", "viewer"), ("keeper", "technician"), ("keeper", "keeper"),
    }  # fmt: skip


def test_a_token_is_known_by_its_text_in_its_own_farm_alone(journal):
    token, text = journal.tokens.make("north", "Ada's phone", Role.TECHNICIAN, NOW, "kim", NOW + HOUR)
    assert journal.tokens.of("north", text) == token
    assert (token.label, token.role, token.made_by) == ("Ada's phone", Role.TECHNICIAN, "kim")
    assert journal.tokens.of("south", text) is None
    other, _ = journal.tokens.make("north", "another", Role.KEEPER, NOW, "kim")
    for wrong in (
        "", "x", text[:-1], text + "x", text.upper(), f"lw_{token.identity}_", f"lw_{token.identity}", f" {text}",
        text.replace("lw_", "xx_"), text.replace(token.identity, other.identity), "lw_'; --_x", "lw_%_%", "\ud800_x_y",
    ):  # fmt: skip
        assert journal.tokens.of("north", wrong) is None, wrong


def test_secrets_have_256_bits_and_stand_nowhere_on_the_disk(journal, tmp_path):
    token, text = journal.tokens.make("north", "a", Role.VIEWER, NOW, "kim")
    cookie = journal.tokens.sign_in(token, NOW, NOW + HOUR)
    secret = text.split("_", 2)[2]
    assert len(secret) == len(cookie) == 43  # 32 bytes, 6 bits a character
    kept = b"".join(file.read_bytes() for file in tmp_path.iterdir())
    assert token.identity.encode() in kept
    assert hashlib.sha256(secret.encode()).hexdigest().encode() in kept
    assert secret.encode() not in kept
    assert cookie.encode() not in kept


def test_secrets_are_compared_as_digests_in_constant_time_for_unknown_tokens_too(journal, monkeypatch):
    _, text = journal.tokens.make("north", "a", Role.VIEWER, NOW, "kim")
    compared, truly = [], hmac.compare_digest

    def noted(one, other):
        compared.append((one, other))
        return truly(one, other)

    monkeypatch.setattr(journal_tokens.hmac, "compare_digest", noted)
    for tried in (text, text + "x", "lw_0000000000_" + "x" * 43, "something else"):
        journal.tokens.of("north", tried)
    assert len(compared) == 4
    assert {len(side) for pair in compared for side in pair} == {64}


def test_a_token_ends_at_its_instant_and_when_it_is_revoked(journal):
    token, text = journal.tokens.make("north", "a", Role.VIEWER, NOW, "kim", NOW + HOUR)
    assert token.standing(NOW + HOUR - 1) is Standing.USABLE
    assert token.standing(NOW + HOUR) is Standing.EXPIRED
    assert journal.tokens.revoke("south", token.identity, NOW, "kim") is None
    assert journal.tokens.of("north", text).standing(NOW) is Standing.USABLE
    assert journal.tokens.revoke("north", token.identity, NOW + 5, "lee").revoked_by == "lee"
    assert journal.tokens.of("north", text).standing(NOW) is Standing.REVOKED
    assert journal.tokens.revoke("north", token.identity, NOW + 9, "kim").revoked_us == NOW + 5
    assert [one.identity for one in journal.tokens.all("north")] == [token.identity]


def test_a_session_ends_by_itself_by_signing_out_and_with_its_token(journal):
    token, _ = journal.tokens.make("north", "a", Role.VIEWER, NOW, "kim", NOW + 3 * HOUR)
    first, second = (journal.tokens.sign_in(token, NOW + n, NOW + HOUR) for n in (0, 1))
    assert journal.tokens.signed_in("north", first, NOW) == (token, NOW + HOUR)
    assert journal.tokens.signed_in("north", first, NOW + HOUR) is None
    assert journal.tokens.signed_in("south", first, NOW) is None
    assert journal.tokens.signed_in("north", "x" * 43, NOW) is None
    journal.tokens.sign_out(first)
    assert journal.tokens.signed_in("north", first, NOW) is None
    assert journal.tokens.signed_in("north", second, NOW) is not None
    journal.tokens.revoke("north", token.identity, NOW, "kim")
    assert journal.tokens.signed_in("north", second, NOW) is None
    lasting, _ = journal.tokens.make("north", "b", Role.VIEWER, NOW, "kim", NOW + HOUR)
    cookie = journal.tokens.sign_in(lasting, NOW, NOW + 9 * HOUR)
    assert journal.tokens.signed_in("north", cookie, NOW + HOUR) is None, "a session outlived its token"


def test_sessions_of_one_token_do_not_pile_up(journal, tmp_path):
    token, _ = journal.tokens.make("north", "a", Role.VIEWER, NOW, "kim")
    cookies = [journal.tokens.sign_in(token, NOW + n, NOW + HOUR) for n in range(SESSIONS_KEPT + 3)]
    lasting = [journal.tokens.signed_in("north", one, NOW) is not None for one in cookies]
    assert lasting == [False] * 3 + [True] * SESSIONS_KEPT
    journal.tokens.sign_in(token, NOW + HOUR, NOW + 2 * HOUR)  # those of before are over: they are forgotten
    with sqlite3.connect(tmp_path / "journal.sqlite") as raw:
        assert raw.execute("SELECT count(*) FROM session").fetchone() == (1,)


@pytest.mark.slow
def test_what_was_written_is_told_newest_first_and_strangers_do_not_fill_the_disk(journal):
    ours = Written("north", NOW, "Ada", "0a1b2c3d4e", Role.KEEPER, "POST /api/v1/alarms/x/shelve", "200")
    by_command = Written("north", NOW, "kim", None, Role.KEEPER, "leafweather token make 0a1b2c3d4e", "done")
    for one in (ours, by_command):
        journal.audit.add(one)
    journal.audit.add(Written("south", NOW, "", None, None, "POST /api/v1/session", "401"))
    for n in range(STRANGERS_KEPT + 5):
        journal.audit.add(Written("north", NOW + n, "", None, None, "POST /api/v1/session", "401"))
    found = journal.audit.page("north", most=5000)
    assert len(found) == STRANGERS_KEPT + 2
    assert [one.at_us - NOW for one in found[:2]] == [STRANGERS_KEPT + 4, STRANGERS_KEPT + 3]
    assert [(one.who, one.token, one.role, one.what, one.outcome) for one in found[-2:]] == [
        ("kim", None, Role.KEEPER, "leafweather token make 0a1b2c3d4e", "done"),
        ("Ada", "0a1b2c3d4e", Role.KEEPER, "POST /api/v1/alarms/x/shelve", "200"),
    ]
    page = journal.audit.page("north", most=3)
    assert journal.audit.page("north", page[-1].number, 2) == found[3:5]
    assert len(journal.audit.page("south")) == 1
