"""``leafweather token`` as a person calls it."""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from farm.roles import Role
from leafweather.cli import app
from store.access_entries import Standing
from store.journal import Journal
from tests.conftest import SMALL_FARM


@pytest.fixture
def call(tmp_path):
    file = tmp_path / "farm.toml"
    file.write_text(SMALL_FARM)

    def call(action, *arguments, folder=tmp_path / "data"):
        return CliRunner().invoke(app, ["token", action, str(file), *arguments, "--data", str(folder)])

    call.url = f"sqlite:///{tmp_path / 'data' / 'journal.sqlite'}"
    return call


def test_a_token_is_made_listed_and_revoked_and_all_of_it_noted(call):
    made = call("make", "--role", "technician", "--label", "Ada's phone", "--days", "30", "--by", "kim")
    assert made.exit_code == 0, made.output
    text = made.stdout.strip()  # alone, for scripts
    identity = text.split("_")[1]
    assert "not shown again" in made.stderr
    with Journal(call.url) as journal:
        token = journal.tokens.of("testfarm", text)
        assert (token.role, token.label, token.made_by) == (Role.TECHNICIAN, "Ada's phone", "kim")
        assert token.expires_us - token.made_us == 30 * 86_400_000_000
        assert token.standing(token.made_us) is Standing.USABLE
    listed = call("list").output
    assert text not in listed
    for told in (identity, "technician", "Ada's phone", "until 20", "by kim"):
        assert told in listed
    assert "REVOKED" in call("revoke", identity, "--by", "lee").output
    assert "REVOKED" in call("list").output
    with Journal(call.url) as journal:
        assert journal.tokens.of("testfarm", text).standing(token.made_us) is Standing.REVOKED
    lines = call("audit").output.splitlines()
    assert [line.split("  ")[1:] for line in lines] == [
        ["done", f"leafweather token revoke {identity}", "lee (keeper)"],
        ["done", f"leafweather token make {identity}", "kim (keeper)"],
    ]
    assert text not in call("audit").output
    assert len(call("audit", "--most", "1").output.splitlines()) == 1


def test_a_label_is_anothers_only_once_that_works_no_more(call):
    first = call("make", "--role", "viewer", "--label", "wall").stdout.split("_")[1]
    again = call("make", "--role", "viewer", "--label", " wall ")
    assert (again.exit_code, "revoke that first" in again.output) == (2, True)
    call("revoke", first)
    assert call("make", "--role", "viewer", "--label", "wall").exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("make", "--role", "viewer", "--label", "  "), "--label: found ''"),
        (("make", "--role", "viewer", "--label", "a\nb"), "printable"),
        (("make", "--role", "viewer", "--label", "x" * 61), "1 to 60"),
        (("make", "--role", "viewer", "--label", "x", "--days", "0"), "--days: found 0"),
        (("make", "--role", "owner", "--label", "x"), "keeper"),
        (("revoke", "0000000000"), "no token '0000000000' of testfarm"),
    ],
)
def test_bad_calls_say_what_is_wrong_and_change_nothing(call, arguments, said):
    call("make", "--role", "viewer", "--label", "there")
    done = call(*arguments)
    assert done.exit_code == 2
    assert said in done.output
    with Journal(call.url) as journal:
        assert [one.label for one in journal.tokens.all("testfarm")] == ["there"]


def test_only_make_makes_a_folder(call, tmp_path):
    for action in ("list", "audit"):
        done = call(action, folder=tmp_path / "none")
        assert (done.exit_code, "there is no folder" in done.output) == (2, True)
    assert not (tmp_path / "none").exists()
    call("make", "--role", "viewer", "--label", "x")
    assert call("list", folder=tmp_path / "data").exit_code == 0
