// Pulling a stretch out of a chart by touch: hold a moment, then pull. One finger that moves at once scrolls the page, two
// fingers make it larger, as everywhere.

const HOLD_MS = 400; // our choice, no source
const STILL_PX = 8; // further, and it is a finger that scrolls; our choice, no source

/** Listen on a chart; ``pulled`` is given both ends in pixels. Returns what stops it. */
export function pullByTouch(u, pulled) {
  const { over } = u;
  let timer = null;
  let from = null; // where the finger came down
  let held = false; // long enough, so that it pulls

  const place = (touch) => Math.min(over.clientWidth, Math.max(0, touch.clientX - over.getBoundingClientRect().left));
  const paint = (x) => {
    const left = Math.min(from.x, x);
    u.setSelect({ left, top: 0, width: Math.max(2, Math.abs(x - from.x)), height: over.clientHeight }, false);
    u.setCursor({ left: x, top: 10 });
  };
  const cease = () => {
    clearTimeout(timer);
    if (held) u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
    from = null;
    held = false;
  };

  const down = (event) => {
    cease();
    if (event.touches.length > 1) return;
    const [touch] = event.touches;
    from = { x: place(touch), y: touch.clientY, now: place(touch) };
    timer = setTimeout(() => { held = true; paint(from.x); }, HOLD_MS);
  };
  const move = (event) => {
    if (!from) return;
    const [touch] = event.touches;
    const x = place(touch);
    if (held) {
      event.preventDefault(); // from here on the finger pulls, and the page stays
      from.now = x;
      paint(x);
    } else if (Math.hypot(x - from.x, touch.clientY - from.y) > STILL_PX) cease();
  };
  const up = (event) => {
    const ends = held && [Math.min(from.x, from.now), Math.max(from.x, from.now)];
    if (held) event.preventDefault(); // no click of a mouse follows
    cease();
    if (ends) pulled(...ends);
  };
  const menu = (event) => { if (from) event.preventDefault(); };

  const listeners = [["touchstart", down, true], ["touchmove", move, false], ["touchend", up, false], ["touchcancel", cease, true], ["contextmenu", menu, false]];
  for (const [name, does, passive] of listeners) over.addEventListener(name, does, { passive });
  return () => { cease(); for (const [name, does] of listeners) over.removeEventListener(name, does); };
}
