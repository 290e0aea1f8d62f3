import pytest

from store.embedded import EmbeddedStore
from store.open import open_store
from tests.store.influx_stand_in import BUCKET, ORG, TOKEN, StandIn
from tests.store.words import AIR, everything, reading


def test_a_file_url_opens_the_embedded_engine_in_that_folder(tmp_path):
    folder = tmp_path / "north farm"
    folder.mkdir()
    with open_store(folder.as_uri()) as store:
        store.append([reading(1)])
    with EmbeddedStore(folder) as store:
        assert everything(store, AIR) == [(1, 20.0, 1)]


def test_a_relative_folder_is_allowed(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "readings").mkdir()
    open_store("file:readings").close()
    assert (tmp_path / "readings" / "readings.sqlite").exists()


@pytest.mark.parametrize(
    "url", ["", "readings", "file:", "file://readings", "gopher://host/readings", "influx://host/o/b"]
)
def test_anything_else_is_refused_with_what_is_allowed(url):
    with pytest.raises(ValueError, match="names no store: write file:///absolute/folder"):
        open_store(url)


def test_an_influx_url_opens_the_server_engine_with_the_token_from_the_environment(monkeypatch):
    monkeypatch.setenv("LEAFWEATHER_INFLUX_TOKEN", TOKEN)
    with StandIn() as server, open_store(f"influx+{server.url}/{ORG}/{BUCKET}") as store:
        store.append([reading(1)])
        assert everything(store, AIR) == [(1, 20.0, 1)]
        assert TOKEN not in str(server.requests("/api/v2/write")[0].query)


@pytest.mark.parametrize(
    ("url", "message"),
    [
        ("influx+http://host:8086/org", "names no bucket: write influx"),
        ("influx+https:///org/bucket", "names no bucket"),
        ("influx+http://host/org/bucket/more", "names no bucket"),
        ("influx+http://secret@host/org/bucket", r"host/org/bucket': leave out what stands before '@'"),
        ("influx+http://host/org/bucket?token=secret", r"host/org/bucket': leave out .* the token belongs in"),
        ("influx+http://host/org/bucket", "token is missing: set LEAFWEATHER_INFLUX_TOKEN"),
        ("https://secret@host/o?token=secret", "'https://host/o' names no store"),
    ],
)
def test_an_influx_url_that_will_not_do_is_refused_without_showing_a_secret(monkeypatch, url, message):
    monkeypatch.delenv("LEAFWEATHER_INFLUX_TOKEN", raising=False)
    with pytest.raises(ValueError, match=message) as told:
        open_store(url)
    assert "secret" not in str(told.value)
