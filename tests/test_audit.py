"""The audit of dependencies: a found flaw fails, a service that is not there is not taken for a clean answer."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

pytest.importorskip("pip_audit", reason="pip-audit is not installed")

ROOT = Path(__file__).parents[1]
FLAW = {
    "id": "INVENTED-2026-1", "aliases": [], "summary": "invented", "details": "invented",
    "affected": [{
        "package": {"name": "h11", "ecosystem": "PyPI"},
        "ranges": [{"type": "ECOSYSTEM", "events": [{"introduced": "0"}, {"fixed": "99.0"}]}],
    }],
}  # fmt: skip


@pytest.fixture
def advisories():
    """A stand-in for the advisory service: its answers by package, and the packages it was asked about."""
    answers, asked = {}, []

    class Answering(BaseHTTPRequestHandler):
        def do_POST(self):
            name = json.loads(self.rfile.read(int(self.headers["Content-Length"])))["package"]["name"]
            asked.append(name)
            body = json.dumps(answers.get(name, {})).encode()
            self.send_response(200)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *args):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answering)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    server.answers, server.asked = answers, asked
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


def audit(port):
    return subprocess.run(
        [
            sys.executable,
            ROOT / ".ci" / "audit",
            "-s",
            "osv",
            "--osv-url",
            f"http://127.0.0.1:{port}/",
            "--timeout",
            "5",
        ],
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )


def test_a_package_with_a_known_flaw_fails_and_is_named_with_what_mends_it(advisories):
    advisories.answers["h11"] = {"vulns": [FLAW]}
    ran = audit(advisories.server_port)
    assert ran.returncode == 1, ran.stdout + ran.stderr
    assert "h11 " in ran.stderr
    assert "INVENTED-2026-1; mended in 99.0" in ran.stderr


def test_every_pinned_package_is_asked_about_and_none_with_a_flaw_is_well(advisories):
    ran = audit(advisories.server_port)
    assert ran.returncode == 0, ran.stderr
    pins = [one.partition("==")[0] for one in (ROOT / "constraints.txt").read_text().split()]
    plain = {one.lower().replace("_", "-").replace(".", "-") for one in pins}
    assert {one.lower().replace("_", "-").replace(".", "-") for one in advisories.asked} == plain
    assert f"no known vulnerability in {len(pins)} packages" in ran.stdout


def test_a_service_that_is_not_there_is_said_and_fails_nothing(advisories):
    advisories.shutdown()
    advisories.server_close()
    ran = audit(advisories.server_port)
    assert ran.returncode == 0
    assert "NOT DONE" in ran.stdout
    assert "no known vulnerability" not in ran.stdout


def test_an_audit_that_cannot_run_fails():
    ran = subprocess.run(
        [sys.executable, ROOT / ".ci" / "audit", "--no-such-option"], capture_output=True, text=True, check=False
    )
    assert ran.returncode == 2
    assert "pip-audit failed" in ran.stderr


def test_ci_runs_it():
    assert "make audit" in (ROOT / ".ci" / "run").read_text().splitlines()
