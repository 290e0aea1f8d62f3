// Which tracks the timeline has: what a farm usually begins with, and how tracks are added, joined and taken away.
import { stateWord } from "./text.js";
import { MOST_LINES, MOST_TRACKS } from "./view.js";

// What a farm's tracks begin with, as far as it has them: the first of each row that something tells of.
const USUAL = [
  ["air_temperature"],
  ["relative_humidity", "vapour_pressure_deficit"],
  ["ppfd", "illuminance"],
  ["solution_ec"],
  ["solution_ph"],
];

/** The first tracks of a farm: those with readings before those without. */
export function usual(list) {
  const first = (quantity) => {
    const all = list.filter((one) => one.quantity === quantity);
    return all.find((one) => one.first) ?? all[0];
  };
  const found = USUAL.map((row) => row.map(first).find((one) => one?.first) ?? row.map(first).find(Boolean)).filter(Boolean);
  return (found.length ? found : list.slice(0, 1)).map((one) => [one.key]);
}

export const named = (series) => `${series.zone_label}, ${series.label}`;
export const unitOf = (series) => series.display_unit || (series.quantity === "solution_ph" ? "pH" : series.kind === "state" ? `${stateWord(series.quantity, 0)} or ${stateWord(series.quantity, 1)}` : "no unit");

/** Tracks that a series may join: of the same unit and kind, with room, and without it. */
export function joinable(tracks, series, known) {
  return tracks.filter((track) => {
    const first = known.get(track[0]);
    return first && series && first.kind === series.kind && first.display_unit === series.display_unit && series.kind !== "state"
      && track.length < MOST_LINES && !track.includes(series.key);
  });
}

/** With one more series, in a track of its own or beside others. */
export function withSeries(tracks, key, beside) {
  if (beside) return tracks.map((one) => (one.join() === beside ? [...one, key] : one));
  return tracks.some((one) => one.join() === key) || tracks.length >= MOST_TRACKS ? tracks : [...tracks, [key]];
}

export const without = (tracks, track) => tracks.filter((one) => one !== track);

/** With a track moved up by one. */
export function raised(tracks, track) {
  const at = tracks.indexOf(track);
  if (at < 1) return tracks;
  return [...tracks.slice(0, at - 1), track, tracks[at - 1], ...tracks.slice(at + 1)];
}
