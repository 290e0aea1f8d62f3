import pytest

from store.embedded import EmbeddedStore
from store.open import open_store
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


@pytest.mark.parametrize("url", ["", "readings", "file:", "file://readings", "gopher://host/readings"])
def test_anything_else_is_refused_with_what_is_allowed(url):
    with pytest.raises(ValueError, match="names no store: write file:///absolute/folder"):
        open_store(url)
