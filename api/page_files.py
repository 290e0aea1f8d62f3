"""The page's own files: served as they are, and the service worker that keeps them in a browser by version."""

from __future__ import annotations

import hashlib
import json
import mimetypes
from pathlib import Path

from fastapi import FastAPI, Request
from starlette.responses import Response
from starlette.staticfiles import StaticFiles

PAGE = Path(__file__).parent / "page"
WORKER = Path(__file__).parent / "service_worker.js"
KEPT = {".css", ".html", ".js", ".png", ".svg", ".webmanifest"}

# What a file is must not hang on the machine's own table: browsers refuse modules of another type.
mimetypes.add_type("text/javascript", ".js")
mimetypes.add_type("text/css", ".css")
mimetypes.add_type("image/svg+xml", ".svg")
mimetypes.add_type("application/manifest+json", ".webmanifest")


def serve_page(app: FastAPI) -> None:
    """Serve the packaged page; nothing else of the file system can be reached."""
    files, worker = StaticFiles(directory=PAGE), service_worker()
    version = {"ETag": f'"{hashlib.sha256(worker.encode()).hexdigest()[:32]}"'}

    @app.get("/", include_in_schema=False)
    async def page(request: Request) -> Response:
        return await files.get_response("index.html", request.scope)

    @app.get("/service-worker.js", include_in_schema=False)
    async def keeps_the_page() -> Response:
        # From the root, since a worker serves no address above its own.
        return Response(worker, media_type="text/javascript", headers=version)

    app.mount("/page", files)


def service_worker() -> str:
    """Return the worker with the files it keeps, each with its SHA-256, and a version.

    The version changes with any of them, and with the worker, so that none touches what another keeps.
    """
    worker = WORKER.read_text(encoding="utf-8")
    kept = sorted(one for one in PAGE.rglob("*") if one.suffix in KEPT)
    files = {_address(one): hashlib.sha256(one.read_bytes()).hexdigest() for one in kept}
    digest = hashlib.sha256((json.dumps(files) + worker).encode()).hexdigest()
    return f'const VERSION = "{digest[:16]}";\nconst FILES = {json.dumps(files)};\n{worker}'


def _address(file: Path) -> str:
    return "/" if file.name == "index.html" else f"/page/{file.relative_to(PAGE).as_posix()}"
