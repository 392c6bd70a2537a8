// What the page knows: the study as it was written, and what the reader has chosen.

const ARRAYS = {
  f4: Float32Array,
  f8: Float64Array,
  u1: Uint8Array,
  u2: Uint16Array,
  u4: Uint32Array,
};
const NO_VALUE = 65535; // of a quantised number

/** Return a packed array: its numbers, its shape, and its rows along the first axis. */
function unpacked(payload) {
  const bytes = Uint8Array.from(atob(payload.data), (sign) => sign.charCodeAt(0));
  const values = new ARRAYS[payload.type](bytes.buffer);
  const length = payload.shape.slice(1).reduce((product, size) => product * size, 1);
  return {
    values,
    shape: payload.shape,
    row: (place) => values.subarray(place * length, (place + 1) * length),
  };
}

/** Return the signals of a quantised array as lists, null where there is no value. */
function signalsOf(payload) {
  const steps = unpacked(payload);
  return payload.low.map((low, signal) =>
    Array.from(steps.row(signal), (step) =>
      step === NO_VALUE ? null : low + step * payload.step[signal],
    ),
  );
}

/** Return a study with its arrays unpacked and its candidates' rows by number. */
function opened(payload) {
  const unpackAll = (packed) =>
    Object.fromEntries(Object.entries(packed).map(([name, array]) => [name, unpacked(array)]));
  const rows = unpackAll(payload.rows);
  const columns = unpackAll(payload.columns);
  return {
    ...payload,
    rows,
    columns,
    same: sameForAll({ columns }),
    rowOf: new Map(Array.from(rows.number.values, (number, row) => [number, row])),
    detailOf: openedDetails(payload.details),
  };
}

/** Return the details of each candidate, by its number. */
function openedDetails(details) {
  const [rides, outcome, rates, handling, curves, margins] = [
    details.rides,
    details.outcome,
    details.nose_down_rates,
    details.handling,
    details.curves,
    details.margins,
  ].map(unpacked);
  const curveDeg = Array.from(unpacked(details.curve_deg).values);
  return new Map(
    details.numbers.map((number, row) => [
      number,
      {
        rides: rides.row(row),
        outcome: outcome.row(row),
        rates: rates.row(row),
        handling: handling.row(row),
        curveDeg,
        curves: curves.row(row),
        margins: margins.row(row),
        marginShape: margins.shape,
        verdict: details.verdicts[row],
        constraints: details.constraints[row],
        worst: details.worst[number],
      },
    ]),
  );
}

/** Return the weighted cost of a candidate: what it is compared with, on the same noise, has 1. */
function weightedCost(study, weights, row) {
  const feel = study.feel ? study.feel.weight : 0;
  const total = weights.reduce((sum, weight) => sum + weight, feel);
  const compared = study.compared_objectives[study.rows.reevaluated.values[row]];
  const objectives = study.rows.objectives.row(row);
  return weights.reduce(
    (sum, weight, place) => sum + objectives[place] * (weight / total / compared[place]),
    feel ? (feel / total) * study.rows.feel_miss.values[row] : 0,
  );
}

/** Return one measure of a candidate by its name. */
function measure(study, state, name, row) {
  const place = study.objectives.indexOf(name);
  if (place >= 0) return study.rows.objectives.row(row)[place];
  if (name === "weighted_cost_ratio") return state.costs[row];
  return study.columns[name].values[row];
}

/** Return the names of all measures that an axis can show. */
const measures = (study) => [
  ...study.objectives,
  "weighted_cost_ratio",
  ...Object.keys(study.columns),
];

/** Return the measures that are not the same for every candidate on the page. */
const unlike = (study) => measures(study).filter((name) => !study.same.has(name));

/** Return the measures that are the same for every candidate on the page, with their values. */
function sameForAll(study) {
  const same = new Map();
  for (const [name, { values }] of Object.entries(study.columns)) {
    const known = values.filter((value) => !Number.isNaN(value));
    if (known.length > 1 && known.every((value) => value === known[0])) same.set(name, known[0]);
  }
  return same;
}

/** Return a measure's value with what it is and its unit, as text for plots and sentences. */
function withUnit(study, name, value) {
  const [what, ...units] = plain(study.labels[name]).split(" / ");
  const unit = units.join(" / ");
  if (unit === "1" || unit === "number") return `${what}: ${value}`;
  if (unit === "baseline 1") return `${what}: ${value} (baseline 1)`;
  return `${what}: ${value} ${unit.replace(/^\(([^)]*)\)/, "per $1")}`;
}

/** Return the picks' names that a candidate carries. */
const pickNames = (study, number) =>
  Object.keys(study.picks).filter((name) => study.picks[name] === number);

/** Return what a candidate is called. */
function called(study, number) {
  if (number === 0) return "baseline (0)";
  const names = pickNames(study, number).map((name) => name.replaceAll("_", " "));
  return names.length ? `${names.join(", ")} (${number})` : `candidate ${number}`;
}

/** Return a number as people read it: four figures, no more. */
function shownNumber(value) {
  if (value === null || Number.isNaN(value)) return "–";
  if (!Number.isFinite(value)) return "no limit";
  if (value !== 0 && Math.abs(value) < 1e-3) return value.toExponential(1);
  return String(Number(value.toPrecision(4)));
}

/** Return a weighted cost as people read it. */
const shownCost = (cost) => (Number.isNaN(cost) ? "–" : cost.toFixed(3));

/** Return an element with attributes and children; text is always text, never markup. */
function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

/** Return a name that may break after its underscores. */
const breakable = (name) =>
  name.split(/(?<=_)/).flatMap((part, place) => (place ? [make("wbr"), part] : [part]));

const byId = (id) => document.getElementById(id);
