// The chosen candidate: what it is made of, where it is good and bad, and how to take it along.

// cividis at even steps: dark to light for everybody (Nunez, Anderton & Renslow 2018).
const CIVIDIS = [[0, 34, 78], [39, 58, 108], [73, 82, 110], [100, 106, 113], [125, 130, 120], [154, 156, 115], [185, 184, 103], [218, 213, 84], [254, 232, 56]];

/** Write everything about the chosen candidate; what the page lacks a live view's server tells. */
async function writeCandidate(study, state) {
  const number = state.chosen, row = study.rowOf.get(number);
  byId("candidate-title").textContent = called(study, number).replace(/^./, (sign) => sign.toUpperCase());
  const body = byId("candidate-body");
  clearPlots(body);
  const atOnce = make("div", { class: "halves" }), later = make("div");
  const told = make("div", {}, make("h3", {}, "Objectives against the baseline"), objectives(study, state, row),
    make("h3", {}, "Constraints"), constraints(study, row));
  atOnce.append(told);
  body.append(verdict(study, state, row), command(study, number), atOnce,
    make("h3", {}, "Parameters against the baseline and their bounds"), parameters(study, row), later);
  let detail = study.detailOf.get(number), own = study.traces[number], base = study.traces[0];
  if (study.live && !(detail && own)) {
    later.textContent = "Riding it…";
    const answer = await fetchCandidate(number);
    if (!later.isConnected) return;
    later.replaceChildren();
    if (answer) ({ own, base, detail } = { ...answer, detail: openedDetails(answer.details).get(number) });
  }
  if (detail === undefined) {
    later.append(make("p", { class: "note" }, `Rides, margins, curve and traces of this candidate are not stored on this page. ${missing(study, number)}`));
    return;
  }
  atOnce.append(make("div", {}, make("h3", {}, "Margins of the linearised loop, delay included"), margins(study, detail)));
  const curve = make("div", { class: "plot", id: "curve" });
  later.append(make("h3", {}, "Every ride, less is better"), heatMaps(study, detail),
    make("h3", {}, "Stiffness: current over pitch error"), curve);
  drawCurve(study, detail, number, curve);
  writeTraces(study, number, later, { detail, own, base });
}

/** Say how what is not on the page is had. */
const missing = (study, number) => `Write the page again with: ${study.commands.page}--with ${number}`;

function verdict(study, state, row) {
  const values = study.rows.constraints.row(row);
  const failed = study.constraints.filter((_, place) => values[place] > 0).map(([, label]) => label);
  const box = make("div");
  box.append(make("p", {}, `Weighted cost ${state.costs[row].toFixed(3)} by your weights (baseline 1); ${study.rows.on_front.values[row] ? "on the front" : "not on the front"}. ${
    study.rows.looked_again.values[row] ? "Its numbers are those of a second look on fresh noise." : "Its numbers are those of the search."}`));
  if (failed.length) box.append(make("p", { class: "fails" }, `✗ FAILS: ${failed.join("; ")}. It must not be ridden as it is.`));
  const bounds = study.at_bounds[study.rows.number.values[row]] || [];
  if (bounds.length) box.append(make("p", { class: "note" }, `At an end of the searched range: ${bounds.join(", ")}.`));
  return box;
}

function command(study, number) {
  const text = `${study.commands.export}${number}`;
  const field = make("input", { readonly: "", id: "export-command", "aria-label": "Export command", value: text });
  const told = make("span", { role: "status", class: "hint" });
  const button = make("button", { type: "button", id: "copy-export" }, "Copy the export command");
  button.addEventListener("click", async () => {
    field.select();
    try {
      await navigator.clipboard.writeText(text);
      told.textContent = "Copied.";
    } catch {
      told.textContent = document.execCommand("copy") ? "Copied." : "Selected; press Ctrl-C to copy.";
    }
  });
  return make("div", { class: "command" }, field, button, told);
}

function table(heads, rows, name = "") {
  const head = make("tr", {}, ...heads.map((text) => make("th", { scope: "col" }, ...breakable(text))));
  return make("div", { class: "scroll" }, make("table", { class: name }, make("thead", {}, head), make("tbody", {}, ...rows)));
}

const numberCell = (value) => make("td", { class: "number" }, typeof value === "string" ? value : shownNumber(value));

function objectives(study, state, row) {
  const baseline = study.baseline_objectives[study.rows.looked_again.values[row]];
  const values = study.rows.objectives.row(row);
  const lines = study.objectives.map((name, place) => {
    const change = 100 * (values[place] / baseline[place] - 1);
    const told = `${change > 0 ? "▲ +" : "▼ "}${change.toFixed(1)} %`;
    return make("tr", {}, make("th", { scope: "row" }, study.labels[name]), numberCell(values[place]), numberCell(baseline[place]), numberCell(Math.abs(change) < 0.05 ? "same" : told));
  });
  const more = Object.keys(study.columns).map((name) => make("tr", {}, make("th", { scope: "row" }, study.labels[name]),
    numberCell(study.columns[name].values[row]), numberCell(study.columns[name].values[study.rowOf.get(0)]), make("td")));
  return table(["", "This", "Baseline", "Change"], [...lines, ...more], "objectives");
}

function constraints(study, row) {
  const values = study.rows.constraints.row(row);
  return table(["", "Value", "Met"], study.constraints.map(([, label], place) => make("tr", {},
    make("th", { scope: "row" }, label), numberCell(values[place]), make("td", {}, values[place] <= 0 ? "✓ met" : "✗ FAILS"))), "constraints");
}

function margins(study, detail) {
  const values = detail.margins;
  const [, nPoints, nRiders, nKinds] = detail.marginShape;
  const lines = [];
  for (let point = 0; point < nPoints; point += 1) {
    for (let rider = 0; rider < nRiders; rider += 1) {
      const start = (point * nRiders + rider) * nKinds;
      lines.push(make("tr", {}, make("th", { scope: "row" }, study.details.gain_points[point]), make("td", {}, study.details.margin_riders[rider]),
        ...Array.from(values.subarray(start, start + nKinds), numberCell)));
    }
  }
  const asked = study.settings;
  return make("div", { class: "keep" }, table(["Gain", "Rider", "Max. sensitivity", "Phase / deg", "Gain up / ×", "Gain down / ×", "Delay / ms"], lines, "margins"),
    make("p", { class: "hint" }, `Asked: sensitivity at most ${asked.sensitivity_limit}, phase margin at least ${asked.phase_margin_deg} deg, gain margin at least ×${asked.gain_margin_ratio} up and down. An unstable loop has no limit to its sensitivity.`));
}

function parameters(study, row) {
  const values = study.rows.values.row(row), unit = study.rows.unit.row(row);
  const zero = study.rowOf.get(0);
  const base = study.rows.values.row(zero), baseUnit = study.rows.unit.row(zero);
  const searched = study.parameters.filter((parameter) => "low" in parameter);
  const lines = searched.map((parameter, place) => {
    const share = unit[place] / 65535, atEnd = share <= 0.001 || share >= 0.999;
    const track = make("span", { class: "track", role: "img", "aria-label": `${Math.round(100 * share)} % of the searched range` },
      make("i", { class: "base", style: `left:${(100 * baseUnit[place]) / 65535}%` }), make("i", { style: `left:${100 * share}%` }));
    return make("tr", {}, make("th", { scope: "row" }, ...breakable(parameter.name)), make("td", { class: "hide-phone" }, parameter.text),
      numberCell(values[place]), numberCell(base[place]), make("td", { class: "number hide-phone" }, `${shownNumber(parameter.low)} … ${shownNumber(parameter.high)}`),
      make("td", {}, track, atEnd ? "at an end" : ""));
  });
  const kept = study.parameters.filter((parameter) => "kept" in parameter).map((parameter) => make("tr", {},
    make("th", { scope: "row" }, ...breakable(parameter.name)), make("td", { class: "hide-phone" }, parameter.text), numberCell(parameter.kept), numberCell(parameter.kept),
    make("td", { class: "hide-phone" }), make("td", {}, "not searched")));
  const heads = table(["Parameter", "What it is", "This ■", "Baseline ○", "Searched", ""], [...lines, ...kept], "parameters");
  for (const place of [1, 4]) heads.querySelectorAll("thead th")[place].className = "hide-phone";
  return heads;
}

function heatMaps(study, detail) {
  const values = detail.rides, outcome = detail.outcome;
  const nObjectives = study.objectives.length;
  const maps = study.objectives.map((name, objective) => {
    const told = study.rides.map((_, ride) => values[ride * nObjectives + objective]).filter((value) => !Number.isNaN(value));
    const low = Math.min(...told), high = Math.max(...told);
    const cells = new Map(study.rides.map(([course, rider], ride) => [`${course} ${rider}`, ride]));
    const lines = study.courses.map((course, row) => make("tr", {}, make("th", { scope: "row" }, course), ...study.riders.map((_, column) => {
      const ride = cells.get(`${row} ${column}`);
      return ride === undefined ? make("td", {}, "") : heatCell(study, values[ride * nObjectives + objective], outcome[ride], low, high);
    })));
    return make("div", { class: "keep" }, make("h3", {}, study.labels[name]), table(["", ...study.riders], lines, "heat"));
  });
  return make("div", { class: "thirds" }, ...maps);
}

function heatCell(study, value, outcome, low, high) {
  if (Number.isNaN(value)) return make("td", { title: "this ride has no such window" }, "–");
  const share = high > low ? (value - low) / (high - low) : 0;
  const place = share * (CIVIDIS.length - 1), from = Math.min(Math.floor(place), CIVIDIS.length - 2);
  const color = CIVIDIS[from].map((part, channel) => Math.round(part + (place - from) * (CIVIDIS[from + 1][channel] - part)));
  const text = value < 0.01 ? value.toFixed(3) : value < 10 ? value.toPrecision(2) : value.toFixed(0);
  const cell = make("td", { style: `background:rgb(${color});color:${share < 0.45 ? "#fff" : "#000"}`, title: study.outcomes[outcome] }, text);
  if (outcome !== 0) {
    cell.className = "ended";
    cell.prepend("✗ ");
  }
  return cell;
}

function drawCurve(study, detail, number, plot) {
  const length = detail.curveDeg.length;
  const lines = (which, name, color, width) => ["solid", "dot"].map((dash, braking) => ({
    x: detail.curveDeg, y: Array.from(which.curves.subarray(braking * length, (braking + 1) * length)),
    type: "scatter", mode: "lines", name: plain(name + (braking ? ", braking" : "")), line: { color, width, dash },
  }));
  const limit = study.phase_current_limit_a;
  draw(plot, [...lines(study.detailOf.get(0), "baseline", BLACK, 2), ...(number === 0 ? [] : lines(detail, called(study, number), VERMILION, 3))], {
    height: 330, showlegend: true, legend: { orientation: "h", y: 1.02, yanchor: "bottom" }, margin: { l: 58, r: 12, t: 60, b: 46 },
    xaxis: axis("nose below the wanted level / deg"), yaxis: axis("current / A (dashed: phase limit)", { range: [-1.15 * limit, 1.15 * limit] }),
    shapes: [-limit, limit].map((side) => ({ type: "line", xref: "paper", x0: 0, x1: 1, y0: side, y1: side, line: { color: GREY, dash: "dash", width: 1 } })),
  });
}

/** Write the traces of a candidate's worst rides. */
function writeTraces(study, number, body, { detail, own, base }) {
  const box = make("div", { class: "thirds", id: "traces" });
  const there = own && detail.worst.every((place) => own[place]);
  const looked = study.rows.looked_again.values;
  const other = looked[study.rowOf.get(number)] === looked[study.rowOf.get(0)] ? "" : " (on other noise)";
  body.append(make("h3", {}, "Its three worst rides by nose-down risk"), there
    ? make("p", { class: "hint keys" }, `Vermilion, thick: this one; black, thin: the baseline${other}. Solid: pitch to the ground (nose contact in blue), current, speed, reserve; dashed: pitch to level, current available; dotted: what is wanted. A point every ${1000 * study.trace_step_s} ms; a line ends where its ride does.`)
    : make("p", { class: "note" }, `The traces of this candidate are not stored on this page. ${missing(study, number)}`), box);
  if (!there) return;
  for (const place of detail.worst) {
    const [course, rider] = study.rides[place];
    const plot = make("div", { class: "plot", "data-print-share": "0.33" });
    box.append(make("div", { class: "keep" }, make("h3", {}, `${study.courses[course]} / ${study.riders[rider]}`),
      make("p", { class: "hint" }, study.outcomes[detail.outcome[place]]), plot));
    drawRide(study, plot, { base: base[place] && number !== 0 ? signalsOf(base[place]) : null, own: signalsOf(own[place]) });
  }
}

/** Draw one ride: pitch, current, speed and torque reserve over time. */
function drawRide(study, plot, { own, base }) {
  const at = Object.fromEntries(study.signals.map((name, place) => [name, place]));
  const panels = [
    [["ground_pitch_deg", "solid"], ["pitch_deg", "dash"], ["wanted_pitch_deg", "dot"]],
    [["current_a", "solid"], ["available_current_a", "dash"]],
    [["speed_mps", "solid"], ["wanted_speed_mps", "dot"]],
    [["torque_reserve_ratio", "solid"]],
  ];
  const titles = ["pitch, nose down / deg", "current / A", "speed / m/s", "torque reserve / 1"];
  const traces = [];
  for (const [signals, color, width, who] of [[base, BLACK, 1, "baseline"], [own, VERMILION, 1.8, "this"]]) {
    if (!signals) continue;
    panels.forEach((names, panel) => names.forEach(([name, dash]) => traces.push({
      x: signals[at[name]].map((_, sample) => (sample + 1) * study.trace_step_s), y: signals[at[name]],
      yaxis: panel ? `y${panel + 1}` : "y", type: "scatter", mode: "lines", connectgaps: false,
      line: { color, width: dash === "solid" ? width : 1, dash }, name: `${who}: ${name}`,
      hovertemplate: `${who}: ${name.replaceAll("_", " ")} %{y:.3g}<extra></extra>`,
    })));
  }
  const level = (y, panel, dash) => ({ type: "line", xref: "paper", x0: 0, x1: 1, yref: panel ? `y${panel + 1}` : "y", y0: y, y1: y, line: { color: BLUE, width: 1, dash } });
  const layout = { height: 640, grid: { rows: 4, columns: 1, subplots: [["xy"], ["xy2"], ["xy3"], ["xy4"]] }, margin: { l: 52, r: 8, t: 8, b: 40 },
    xaxis: axis("time / s", { anchor: "y4" }), shapes: [level(study.nose_contact_deg, 0, "dash"), level(0, 3, "solid")] };
  titles.forEach((title, panel) => { layout[panel ? `yaxis${panel + 1}` : "yaxis"] = axis(title, { automargin: false, title: { text: title, font: { size: 11 } } }); });
  draw(plot, traces, layout);
}
