// The parts of the day sheet that the science makes, each only where the farm has something of the kind.
import { alike } from "./findings.js";
import { html } from "./html.js";
import { CarbonDioxide, Climate, Surfaces } from "./science_air.js";
import { Lamps, LightDays } from "./science_light.js";
import { RootZone, Water } from "./science_water.js";
import { Table } from "./table.js";
import { capital, dayAndClock, lasting, whole, words } from "./text.js";
import { amount, at, Facts, known, Notes, Out, Part, partly, share, someShare } from "./told.js";
import { atFinding, link } from "./view.js";

const WATTS_PER_KW = 1000;
const STANDS = { near: "near it", above: "above it" };

function Energy({ energy, zone, places, wide }) {
  const { peaks } = energy;
  const power = (one) => (known(one.power_w) ? `${amount(one.power_w / WATTS_PER_KW, 2, "kW")} at ${at(one.at, zone)}` : "not known");
  const rated = (watts, standing) => html`${amount(watts / WATTS_PER_KW, 2, "kW")}${STANDS[standing] && html`; <${Out}>${STANDS[standing]}<//>`}${standing === "unknown" && "; not known whether below it"}`;
  return html`<${Part} title="Energy" wide=${wide}><${Facts} caption="Energy and peaks" rows=${[
    known(energy.meter) && ["Energy", amount(energy.kwh, 1, "kWh") + partly(energy.coverage) + (known(energy.cost) ? `; ${amount(energy.cost, 2, energy.currency)}` : "")],
    peaks && ["Highest average over 15 min", power(peaks.average_15min)],
    peaks && ["Highest average over 3 h", power(peaks.average_3h)],
    peaks && known(peaks.continuous_rating_w) && [`May be carried for hours: ${share(peaks.continuous_share)} of the service`, rated(peaks.continuous_rating_w, peaks.standing)],
    peaks && ["Highest reading", power(peaks.reading)],
    peaks && known(peaks.service_rating_w) && ["The service", rated(peaks.service_rating_w, peaks.reading_standing)],
    ...energy.parts.map((one) => [`Of it: ${one.label}`, amount(one.kwh, 1, "kWh") + partly(one.coverage)]),
    ...energy.lamps.map((one) => [`Lamps, ${places(one.name)}, estimated from ${amount(one.lit_h, 1, "h")} switched on${one.dark_h > 0.05 ? `, ${amount(one.dark_h, 1, "h")} of it dark` : ""}`, amount(one.estimated_kwh, 1, "kWh") + partly(one.coverage)]),
    ...(energy.batches ?? []).map((one) => [`Batch ${one.name}, ${share(one.share)}`, amount(one.kwh, 1, "kWh")]),
  ]} />
  <${Notes} texts=${[known(energy.power_meter_disagreement) && Math.abs(energy.power_meter_disagreement) >= 0.02 && `Power and energy of the main meter disagree by ${amount(100 * energy.power_meter_disagreement, 1, "%")}.`,
    energy.batches?.length > 0 && `Shared between batches ${energy.batch_convention}.`]} />
  ${peaks?.caution && html`<p class="warning">${peaks.caution}</p>`}<//>`;
}

function Quality({ quality, named, zone, wide }) {
  const whom = (one) => [one.siblings?.disagrees_h > 0 && `unlike its siblings for ${amount(one.siblings.disagrees_h, 1, "h")}`, one.drift?.drifts && "drifts away from its siblings"].filter(Boolean).join(", ");
  const doubted = quality.series.filter((one) => one.suspect_count || one.fail_count || one.missing_count || whom(one));
  const found = (count, part) => (count ? `${amount(count, 0)} (${someShare(part)})` : "–");
  return html`<${Part} title="How good the readings were" wide=${wide}>
    ${doubted.length === 0 && html`<p>All ${quality.series.length} series came whole, and no test doubts a reading.</p>`}
    ${doubted.length > 0 && html`<${Table} caption=${`${doubted.length} of ${quality.series.length} series with doubts or gaps`} numeric=${[1, 2, 3]}
      heads=${["Series", "Missing", "Suspect", "Failed", "Longest gap", "Against others"]}
      rows=${doubted.map((one) => [named(one.key), found(one.missing_count, one.missing_share), found(one.suspect_count, one.suspect_share), found(one.fail_count, one.fail_share),
        one.gap_count ? lasting(one.longest_gap_s) : "none", whom(one) || "–"])} />`}
    ${quality.impossible.length > 0 && html`<p>What cannot be, so that a sensor or a drain is to be looked at:</p>
      <ul>${quality.impossible.map((one) => html`<li><${Out}>${capital(words(one.what))}<//>: ${named(one.key)}, since ${at(one.since, zone)}, for ${amount(one.lasted_h, 1, "h")}.</li>`)}</ul>`}<//>`;
}

function Causes({ findings, start, zone, wide, view }) {
  const since = (onset) => (Date.parse(onset) < Date.parse(start) ? dayAndClock(Date.parse(onset), zone) : at(onset, zone));
  return html`<${Part} title="Likely causes" wide=${wide}>
    <ul>${alike(findings).map((some) => html`<li key=${some[0].id}>${since(some[0].leads_since ?? some[0].onset)}: <a href=${link(atFinding(view, some[0].id))} data-shows="excursions" data-title="findings">${whole(some[0].headline)}</a>${some.length > 1 && ` In ${some.length} ${some.every((one) => one.series) ? "excursions" : "findings"}.`}</li>`)}</ul><//>`;
}

export function Science({ sheet, list: series, zone, wide, view }) {
  const labels = new Map(series.map((one) => [one.key, `${one.zone_label}, ${one.label}`]));
  const zones = new Map(sheet.zones.map((one) => [one.zone, one.label]));
  const named = (key) => labels.get(key) ?? key;
  const places = (name) => zones.get(name) ?? name;
  const { surfaces = [], lamps = [], light_evenness: evenness = [], carbon_dioxide: gas = [], climate, root_zone: roots = [], probes = [] } = sheet;
  const shared = { zone, wide, named, places, view };
  return html`
    ${(sheet.findings ?? []).length > 0 && html`<${Causes} findings=${sheet.findings} start=${sheet.start} ...${shared} />`}
    ${sheet.light_days.length > 0 && html`<${LightDays} days=${sheet.light_days} />`}
    ${surfaces.length > 0 && html`<${Surfaces} rows=${surfaces} ...${shared} />`}
    ${lamps.length + evenness.length > 0 && html`<${Lamps} rows=${lamps} evenness=${evenness} ...${shared} />`}
    ${gas.length > 0 && html`<${CarbonDioxide} rows=${gas} ...${shared} />`}
    ${climate && climate.air_conditioners.length + climate.recovery.length + climate.evenness.length > 0 && html`<${Climate} climate=${climate} ...${shared} />`}
    ${roots.length + probes.length > 0 && html`<${RootZone} rows=${roots} probes=${probes} ...${shared} />`}
    <${Water} sheet=${sheet} ...${shared} />
    ${sheet.energy?.lamps && html`<${Energy} energy=${sheet.energy} ...${shared} />`}
    ${sheet.quality && html`<${Quality} quality=${sheet.quality} ...${shared} />`}`;
}
