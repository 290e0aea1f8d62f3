"""``leafweather notice`` as a person calls it: against a real mail server, and when something is wrong."""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from leafweather.cli import app
from tests.conftest import SMALL_FARM, free_port
from tests.watch.receivers import PASSWORD, USER, MailBox, Trust, hook

FARM = SMALL_FARM + '[notices.people.ada]\nlabel = "Ada"\nmail = ["ada@farm.example"]\n'


@pytest.fixture
def call(tmp_path, monkeypatch):
    file = tmp_path / "farm.toml"
    file.write_text(FARM)
    monkeypatch.setenv("LEAFWEATHER_DATA", str(tmp_path))

    def calling(*words, farm=None, **settings):
        if farm is not None:
            file.write_text(farm)
        for name, value in settings.items():
            monkeypatch.setenv(f"LEAFWEATHER_{name.upper()}", str(value))
        command, *rest = words
        return CliRunner().invoke(app, ["notice", command, str(file), *rest])

    return calling


@pytest.fixture
def trust(tmp_path):
    return Trust(tmp_path)


def test_a_test_notice_arrives_and_stands_in_the_log(call, trust, tmp_path):
    secrets = tmp_path / "secrets.toml"
    secrets.write_text(f'smtp_password = "{PASSWORD}"\n')
    secrets.chmod(0o600)
    with MailBox(trust) as box:
        answer = call(
            "test", "ada", smtp_host="127.0.0.1", smtp_port=box.port, smtp_user=USER, smtp_from="lw@farm.example",
            ca_file=trust.ca_file, secrets_file=secrets,
        )  # fmt: skip
        assert answer.exit_code == 0, answer.output
        assert answer.output.startswith("mail 1: taken (250")
        assert box.taken[0]["Subject"] == "Test farm: test notice for Ada"
    log = call("list").output
    assert "test  ada by mail 1  sent" in log
    assert "try 1" in log
    assert "ada@" not in log + answer.output
    assert call("list", "--waiting").output == "No notices wait.\n"


def test_what_fails_is_said_and_is_the_exit_status(call):
    answer = call("test", "ada", smtp_host="127.0.0.1", smtp_port=free_port(), smtp_from="lw@farm.example")
    assert answer.exit_code == 1
    assert "mail 1: not taken now" in answer.output
    assert "Connection refused" in answer.output
    with hook() as ours:
        ours.statuses = [403]
        person = f'[notices.people.ada]\nlabel = "Ada"\nwebhooks = [{{ url = "{ours.url}", secret = "x" }}]\n'
        assert "there is no secret x" in call("test", "ada", farm=SMALL_FARM + person).output


@pytest.mark.parametrize(
    ("words", "settings", "said"),
    [
        (["test", "adda"], {}, "has no person 'adda': did you mean ada? one of ada"),
        (["test", "ada"], {"smtp_host": "mail.example"}, "LEAFWEATHER_SMTP_FROM: needed with LEAFWEATHER_SMTP_HOST"),
        (["test", "ada"], {"smtp_host": "m.example", "smtp_from": "a@b.example", "smtp_user": "x"},
         "LEAFWEATHER_SMTP_USER needs a password"),
        (["test", "ada"], {"smtp_host": "m.example", "smtp_from": "a@b.example", "smtp_security": "none"},
         "LEAFWEATHER_SMTP_SECURITY: mail without TLS goes to this machine alone"),
        (["test", "ada"], {"smtp_security": "tls"}, "LEAFWEATHER_SMTP_SECURITY: Input should be"),
        (["test", "ada"], {"secrets_file": "nowhere.toml"}, "LEAFWEATHER_SECRETS_FILE: nowhere.toml cannot be read"),
        (["list", "--data", "nowhere"], {}, "there is no folder nowhere"),
    ],
)  # fmt: skip
def test_a_bad_call_is_one_clear_message(call, words, settings, said):
    answer = call(*words, **settings)
    assert answer.exit_code == 2
    assert said in answer.output
    assert "Traceback" not in answer.output


@pytest.mark.parametrize(("text", "said"), [("a = \n", "no TOML"), ("a = 1\n", "a is no text")])
def test_a_file_of_secrets_that_is_wrong_is_told_without_them(call, tmp_path, text, said):
    (tmp_path / "s.toml").write_text('b = "hidden-part"\n' + text)
    answer = call("test", "ada", secrets_file=tmp_path / "s.toml")
    assert answer.exit_code == 2
    assert said in answer.output
    assert "hidden-part" not in answer.output
