"""How soon the page shows something useful, and how fast charts are drawn anew, in a real Chromium over loopback.

``python bench/page.py`` runs the demonstration and opens its page, each time in a browser that has nothing of it yet. A
first useful paint is the first frame after every zone's values stand there. The baseline is the first paint of the same
answers as plain JSON. Then ten charts of 10,000 points each are drawn anew with other values, with bands, dark hours,
excursions, doses, entries, a gap and doubts; the baseline is the chart library drawing the same ten lines and nothing
else. ``--quick`` takes fewer rounds, in under 50 s.
"""

from __future__ import annotations

import argparse
import json
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parent.parent
CHROMIUM = next((path for path in map(Path, ("/usr/bin/chromium", "/usr/bin/chromium-browser")) if path.exists()), None)
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run",
         "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"]  # fmt: skip
SCREENS = {"desk": (1280, 900), "phone": (390, 844)}
PATIENCE_S = 120

# Notes when a frame is due in which every zone's rows stand.
USEFUL = """
const look = () => {
  const zones = [...document.querySelectorAll('article.zone')];
  if (zones.length && zones.every((one) => one.querySelector('tbody tr')))
    requestAnimationFrame(() => { window.usefulMs = performance.now(); });
  else requestAnimationFrame(look);
};
requestAnimationFrame(look);
"""

# Draws ten charts, then times drawing them anew with other values, to the frame after. Ours, or the library alone.
REDRAW = """async ([ours, rounds]) => {
  const { drawChart } = await import('/page/chart.js');
  const { default: uPlot } = await import('/page/vendor/uPlot.js');
  const count = 10_000, startS = 1_772_000_000, hour = 3_600_000;
  const end = startS + 60 * count;
  const time = Array.from({ length: count }, (_, i) => startS + 60 * i);
  const bands = Array.from({ length: 14 }, (_, i) => ({
    start: 1000 * startS + 12 * hour * i, end: 1000 * startS + 12 * hour * (i + 1), low: 18, high: 24,
    lit: i % 2 === 0 }));
  const onset = (h) => 1000 * startS + h * hour;
  const doses = [5, 25, 45].map((h) => ({ start: onset(h) }));
  const written = [15, 75].map((h) => ({ time: onset(h) }));
  const excursions = [10, 50, 90].map((h) => ({ onset: onset(h), end: onset(h + 3) }));
  const series = { kind: 'level', label: 'Air temperature', display_unit: '\u00b0C' };
  const values = (shift) => time.map((_, i) => 21 + 3 * Math.sin((i + shift) / 230) + ((i * 7919 + shift) % 97) / 97);
  const columns = (shift) => {
    const value = values(shift);
    return { time, value, low: value.map((v) => v - 0.3), high: value.map((v) => v + 0.3),
      flag: value.map((_, i) => (i % 500 ? 1 : 3)), count: value.map(() => 5), usualS: 60,
      gaps: [[startS + 300_000, startS + 306_000]] };
  };
  const nodes = Array.from({ length: 10 }, () => {
    const node = document.createElement('div');
    document.body.prepend(node);
    return node;
  });
  const given = Array.from({ length: rounds + 1 }, (_, round) => nodes.map((_, n) => columns(31 * n + 7 * round)));
  const draw = (node, shown) => ours
    ? drawChart(node, { lines: [{ series, columns: shown }], bands, excursions, doses, written,
        span: [1000 * startS, 1000 * end], zone: 'Europe/Oslo', nowMs: 1000 * end, shared: 'bench',
        onCursor: () => {}, onBrush: () => {} })
    : new uPlot({ width: node.clientWidth, height: 320, legend: { show: false }, series: [{}, { stroke: '#17558c' }] },
        [shown.time, shown.value], node);
  const painted = () => new Promise((done) => requestAnimationFrame(() => {
    const channel = new MessageChannel();  // its message comes after the frame
    channel.port1.onmessage = done;
    channel.port2.postMessage(null);
  }));
  let charts = nodes.map((node, n) => draw(node, given[0][n]));
  await painted();
  const took = [];
  for (let round = 1; round <= rounds; round++) {
    const began = performance.now();
    charts.forEach((one) => one.destroy());
    charts = nodes.map((node, n) => draw(node, given[round][n]));
    await painted();
    took.push(performance.now() - began);
  }
  charts.forEach((one) => one.destroy());
  nodes.forEach((one) => one.remove());
  return took;
}"""


def free_port():
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_until_caught_up(url, process):
    """Wait for the demonstration to have worked off its history."""
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        assert process.poll() is None, "the demonstration has ended"
        try:
            with urllib.request.urlopen(f"{url}/api/v1/days", timeout=5) as answer:
                days = json.load(answer)["days"]
            with urllib.request.urlopen(f"{url}/api/v1/health", timeout=5):  # 503 while the watch is behind
                if len(days) >= 2:
                    return
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            pass
        time.sleep(0.5)
    raise TimeoutError(f"the demonstration did not catch up within {PATIENCE_S} s")


def told(page, expression):
    """Return what an expression gives once it gives anything: the page lets no text be run as script while it waits."""
    deadline = time.monotonic() + PATIENCE_S
    while (found := page.evaluate(f"{expression} ?? null")) is None:
        assert time.monotonic() < deadline, f"{expression} gives nothing"
        time.sleep(0.02)
    return found


def first_paint_ms(browser, url, size):
    """Return when the page showed something useful, in a browser that has nothing of it."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    page = context.new_page()
    page.add_init_script(USEFUL)
    page.goto(url)
    found = told(page, "window.usefulMs")
    context.close()
    return found


def plain_paint_ms(browser, url):
    """Return when the same answers stand there as plain JSON, one after the other."""
    context = browser.new_context()
    page, took = context.new_page(), 0.0
    for path in ("farm", "needs", "zones"):
        page.goto(f"{url}/api/v1/{path}")
        took += told(page, "performance.getEntriesByName('first-contentful-paint')[0]?.startTime")
    context.close()
    return took


def measured(browser, url, rounds):
    """Return the medians of all figures."""
    paints = {name: [] for name in SCREENS}
    plain = []
    for _ in range(rounds):
        plain.append(plain_paint_ms(browser, url))
        for name, size in SCREENS.items():
            paints[name].append(first_paint_ms(browser, url, size))
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    page.goto(url)
    page.locator(".uplot canvas").first.wait_for()
    drawn = {ours: page.evaluate(REDRAW, [ours, 3 * rounds]) for ours in (False, True)}
    return paints, plain, drawn


def main():
    """Run the demonstration, measure, and show the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer rounds, under 50 s")
    options = parser.parse_args()
    if CHROMIUM is None:
        raise SystemExit("there is no Chromium in /usr/bin: on Debian, apt install chromium")
    port, mqtt_port = free_port(), free_port()
    url = f"http://127.0.0.1:{port}"
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "leafweather", "demo", "--days", "2", "--port", str(port),
                   "--mqtt-port", str(mqtt_port), "--data", f"{folder}/data"]  # fmt: skip
        with (Path(folder) / "log").open("wb") as log:
            process = subprocess.Popen(command, cwd=ROOT, stdout=log, stderr=log)
        try:
            wait_until_caught_up(url, process)
            with sync_playwright() as driver:
                browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
                paints, plain, drawn = measured(browser, url, 3 if options.quick else 15)
                version = browser.version
                browser.close()
        finally:
            process.terminate()
            process.wait(30)
    print(f"Chromium {version}, load before {load:.1f}; medians, and from fastest to slowest\n")
    rows = [(f"first useful paint, {name}", took) for name, took in paints.items()]
    rows += [("the same answers as plain JSON", plain)]
    rows += [("ten series of 10,000 points drawn anew", drawn[True]), ("the chart library alone", drawn[False])]
    for name, took in rows:
        print(f"{name:42}{statistics.median(took):8.0f} ms   {min(took):.0f} to {max(took):.0f}")
    slower = max(statistics.median(took) for took in paints.values())
    redraw = statistics.median(drawn[True])
    print(f"\npage_first_paint_ms {slower:.0f} ms")
    print(f"page_first_paint_ratio {slower / statistics.median(plain):.1f} 1")
    print(f"page_redraw_ms {redraw:.0f} ms")
    print(f"page_redraw_ratio {redraw / statistics.median(drawn[False]):.1f} 1")


if __name__ == "__main__":
    main()
