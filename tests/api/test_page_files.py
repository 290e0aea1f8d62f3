"""The page's own files, as what keeps and installs them finds them: manifest, icons, service worker."""

from __future__ import annotations

import hashlib
import io
import json
import re
import shutil

import pytest
from PIL import Image

from api import page_files
from api.page_files import PAGE, WORKER, service_worker


def test_the_manifest_names_icons_that_are_there_with_their_size(client):
    response = client("/page/manifest.webmanifest")
    assert response.headers["content-type"].partition(";")[0] == "application/manifest+json"
    manifest = response.json()
    assert (manifest["start_url"], manifest["scope"], manifest["display"]) == ("/", "/", "standalone")
    for icon in manifest["icons"]:
        found = client(icon["src"])
        assert found.headers["content-type"].partition(";")[0] == icon["type"]
        if icon["type"] == "image/png":
            assert "x".join(map(str, Image.open(io.BytesIO(found.content)).size)) == icon["sizes"]
    # What browsers ask for before they offer it: from memory, 192 and 512 px; and one that may be cut.
    assert {"192x192", "512x512"} <= {one["sizes"] for one in manifest["icons"]}
    assert "maskable" in {one.get("purpose") for one in manifest["icons"]}


def test_the_worker_is_at_the_root_of_a_type_that_runs_and_asked_for_again_each_time(client):
    response = client("/service-worker.js")
    assert response.headers["content-type"].partition(";")[0] == "text/javascript"
    assert response.headers["cache-control"] == "no-cache"
    assert response.headers["content-security-policy"].startswith("default-src 'self'")
    files = json.loads(re.search(r"FILES = (\{.*?\});", response.text)[1])
    assert {"/", "/page/app.js", "/page/style.css", "/page/vendor/preact.js", "/page/icon-192.png"} <= set(files)
    for one in files:
        assert hashlib.sha256(client(one).content).hexdigest() == files[one], one


@pytest.mark.parametrize("name", ["page/zones.js", "page/index.html", "service_worker.js"])
def test_any_changed_file_makes_another_version_of_the_worker(tmp_path, monkeypatch, name):
    shutil.copytree(PAGE, tmp_path / "page")
    shutil.copy(WORKER, tmp_path)
    monkeypatch.setattr(page_files, "PAGE", tmp_path / "page")
    monkeypatch.setattr(page_files, "WORKER", tmp_path / WORKER.name)
    before = service_worker()
    assert before == service_worker()
    file = tmp_path / name
    file.write_text(file.read_text() + "\n// changed\n")
    assert before.partition("\n")[0] != service_worker().partition("\n")[0]
