// The chosen candidate: what it is made of, where it is good and bad, and how to take it along.

/** Write what the page knows of every candidate, at once. */
function writeHead(study, state, actions) {
  const number = state.chosen,
    row = study.rowOf.get(number);
  byId("candidate-title").textContent = called(study, number).replace(/^./, (sign) =>
    sign.toUpperCase(),
  );
  const body = byId("candidate-body");
  clearPlots(body);
  body.append(
    verdict(study, state, row),
    command(study, state, actions),
    make("h3", {}, "Objectives against the baseline"),
    objectives(study, state, row),
  );
}

/** Write the rest of the chosen candidate; what the page lacks comes from a live view's server. */
async function writeRest(study, state) {
  const number = state.chosen,
    row = study.rowOf.get(number);
  const body = byId("candidate-body"),
    rest = make("div");
  body.append(rest);
  let detail = study.detailOf.get(number),
    own = study.traces[number],
    base = study.traces[0];
  if (study.live && !(detail && own)) {
    rest.textContent = "Riding it…";
    const answer = await fetchCandidate(number);
    if (!rest.isConnected) return;
    rest.replaceChildren();
    if (answer)
      ({ own, base, detail } = { ...answer, detail: openedDetails(answer.details).get(number) });
  }
  const settings = [
    make("h3", {}, "Parameters against the baseline and their bounds"),
    parameters(study, row),
  ];
  const judged = (title = "Constraints") =>
    section(title, constraints(study, row, detail));
  if (detail === undefined) {
    rest.append(
      make(
        "p",
        { class: "note" },
        `Rides, nose-down rates, margins and curve of this candidate are not stored on this page. ${missing(study, number)}`,
      ),
      judged(),
      ...settings,
    );
    return;
  }
  rest.append(validation(detail));
  const rides = writeRides(study, state, rest, { detail, own, base });
  const curve = make("div", { class: "plot", id: "curve" });
  rest.append(
    section("Nose-down rate by rider", rates(study, detail)),
    judged(),
    make("h3", {}, "Every ride, less is better"),
    make(
      "p",
      { class: "hint no-print" },
      study.live
        ? "Choose a number to look at its ride."
        : "Framed numbers can be looked at. With `levelgain watch` every ride can.",
    ),
    heatMaps(study, detail, rides),
    section("Handling", handling(study, detail)),
    section("Margins of the linearised loop, delay included", margins(study, detail)),
    make("h3", {}, "Stiffness: current over pitch error"),
    curve,
    ...settings,
  );
  drawCurve(study, detail, number, curve);
}

const section = (title, content) => make("div", { class: "keep" }, make("h3", {}, title), content);

/** Say how what is not on the page is had. */
const missing = (study, number) =>
  `Write the page again with: ${study.commands.page}--with ${number}`;

function verdict(study, state, row) {
  const values = study.rows.constraints.row(row);
  const failed = study.constraints
    .filter((_, place) => values[place] > 0)
    .map(([, label]) => label);
  const box = make("div");
  box.append(
    make(
      "p",
      {},
      `Weighted cost ${shownCost(state.costs[row])} by your weights (baseline 1); ${study.rows.on_front.values[row] ? "on the front" : "not on the front"}. ${
        study.rows.reevaluated.values[row]
          ? "Its numbers are those of the re-evaluation on fresh noise and other hard rides."
          : "Its numbers are those of the search."
      }`,
    ),
  );
  if (failed.length)
    box.append(
      make(
        "p",
        { class: "fails" },
        `✗ FAILS: ${failed.join("; ")}. It must not be ridden as it is.`,
      ),
    );
  const bounds = study.at_bounds[study.rows.number.values[row]] || [];
  if (bounds.length)
    box.append(
      make("p", { class: "note" }, `At an end of the searched range: ${bounds.join(", ")}.`),
    );
  return box;
}

function command(study, state, { pin }) {
  const number = state.chosen,
    pinned = state.pinned.includes(number);
  const text = `${study.commands.export}${number}`;
  const field = make("input", {
    readonly: "",
    id: "export-command",
    "aria-label": "Export command",
    value: text,
  });
  const said = make("span", { role: "status", class: "hint" });
  const button = make("button", { type: "button", id: "copy-export" }, "Copy the export command");
  button.addEventListener("click", async () => {
    field.select();
    try {
      await navigator.clipboard.writeText(text);
      said.textContent = "Copied.";
    } catch {
      said.textContent = document.execCommand("copy")
        ? "Copied."
        : "Selected; press Ctrl-C to copy.";
    }
  });
  const link = make("button", { type: "button", id: "copy-link" }, "Copy a link to it");
  link.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(location.href);
      said.textContent = "Link copied.";
    } catch {
      said.textContent = "The address of this page leads to it.";
    }
  });
  const hold = make(
    "button",
    { type: "button", id: "pin", "aria-pressed": pinned },
    pinned ? "Unpin" : "Pin to compare",
  );
  hold.onclick = () => pin(number);
  return make("div", { class: "command" }, field, button, link, ...(number ? [hold] : []), said);
}

function table(heads, rows, name = "") {
  const head = make(
    "tr",
    {},
    ...heads.map((text) => make("th", { scope: "col" }, ...breakable(text))),
  );
  return make(
    "div",
    { class: "scroll" },
    make("table", { class: name }, make("thead", {}, head), make("tbody", {}, ...rows)),
  );
}

const numberCell = (value) =>
  make("td", { class: "number" }, typeof value === "string" ? value : shownNumber(value));

function objectives(study, state, row) {
  const noise = study.rows.reevaluated.values[row];
  const baseline = study.baseline_objectives[noise],
    compared = study.compared_objectives[noise];
  const values = study.rows.objectives.row(row);
  const lines = study.objectives.map((name, place) => {
    const change = 100 * (values[place] / compared[place] - 1);
    const said = Number.isNaN(change)
      ? "–"
      : `${change > 0 ? "▲ +" : "▼ "}${change.toFixed(1)} %`;
    return make(
      "tr",
      {},
      make("th", { scope: "row" }, study.labels[name]),
      numberCell(values[place]),
      numberCell(baseline[place]),
      numberCell(Math.abs(change) < 0.05 ? "same" : said),
    );
  });
  const more = unlike(study).filter((name) => name in study.columns).map((name) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, study.labels[name]),
      numberCell(study.columns[name].values[row]),
      numberCell(study.columns[name].values[study.rowOf.get(0)]),
      make("td"),
    ),
  );
  const found = table(["", "This", "Baseline", "Change"], [...lines, ...more], "objectives");
  const notes = [...study.same].map(
    ([name, value]) => `The same for all: ${study.labels[name].split(" / ")[0]} ${shownNumber(value)}.`,
  );
  if (noise && study.comparison_note) notes.push(study.comparison_note);
  return make("div", {}, found, ...notes.map((text) => make("p", { class: "hint" }, text)));
}

function rates(study, detail) {
  const lines = study.rated_riders.map((rider, place) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, rider),
      ...Array.from(detail.rates.subarray(3 * place, 3 * place + 3), numberCell),
    ),
  );
  return make(
    "div",
    {},
    table(["Rider", "Per 1,000 km", "Low", "High"], lines, "rates"),
    make("p", { class: "hint keys" }, study.nose_down_rate_note),
  );
}

function handling(study, detail) {
  const short = (value) => shownNumber(Number(value.toPrecision(3)));
  const n = detail.handling.length / study.handling.length;
  const lines = study.handling.map((name, place) => {
    const [light, heavy, difference, ...baseline] = Array.from(
      detail.handling.subarray(n * place, n * place + n),
      short,
    );
    const cells = [light, heavy, difference, baseline.join(" / ")];
    return make("tr", {}, make("th", { scope: "row" }, study.labels[name]), ...cells.map(numberCell));
  });
  const head = ["", "Lightest", "Heaviest", "Differ by", "Baseline: both"];
  return table(head, lines, "handling");
}

/** What a validation says of the candidate, loudly where it says nothing good. */
const validation = (detail) =>
  make(
    "p",
    { class: ["none", "fail"].includes(detail.verdict.overall) ? "fails" : "note", id: "validation" },
    detail.verdict.text,
  );

/** The constraints: in the rider's units where the page has the candidate in detail. */
function constraints(study, row, detail) {
  const values = study.rows.constraints.row(row);
  const words = detail ? ["Found", "Asked"] : ["Value"];
  return table(
    ["", "Met", ...words],
    study.constraints.map(([, label], place) =>
      make(
        "tr",
        {},
        make("th", { scope: "row" }, label),
        make("td", {}, values[place] <= 0 ? "✓ met" : "✗ FAILS"),
        ...(detail
          ? detail.constraints[place].map((text) => make("td", {}, text))
          : [numberCell(values[place])]),
      ),
    ),
    "constraints",
  );
}

function margins(study, detail) {
  const values = detail.margins;
  const [, nPoints, nRiders, nKinds] = detail.marginShape;
  const lines = [];
  for (let point = 0; point < nPoints; point += 1) {
    for (let rider = 0; rider < nRiders; rider += 1) {
      const start = (point * nRiders + rider) * nKinds;
      lines.push(
        make(
          "tr",
          {},
          make("th", { scope: "row" }, study.details.gain_points[point]),
          make("td", {}, study.details.margin_riders[rider]),
          ...Array.from(values.subarray(start, start + nKinds), numberCell),
        ),
      );
    }
  }
  const asked = study.settings;
  return make(
    "div",
    { class: "keep" },
    table(
      [
        "Gain",
        "Rider",
        "Max. sensitivity",
        "Phase margin / deg",
        "Upper gain margin / ×",
        "Lower gain margin / ×",
        "Delay margin / ms",
      ],
      lines,
      "margins",
    ),
    make(
      "p",
      { class: "hint" },
      `Asked: sensitivity at most ${asked.sensitivity_limit}, phase margin at least ${asked.phase_margin_deg} deg, gain margin at least ×${asked.gain_margin_ratio}, upper and lower. An unstable loop has no limit to its sensitivity.`,
    ),
  );
}

function parameters(study, row) {
  const values = study.rows.values.row(row),
    unit = study.rows.unit.row(row);
  const zero = study.rowOf.get(0);
  const base = study.rows.values.row(zero),
    baseUnit = study.rows.unit.row(zero);
  const searched = study.parameters.filter((parameter) => "low" in parameter);
  const lines = searched.map((parameter, place) => {
    const share = unit[place] / 65535,
      atEnd = share <= 0.001 || share >= 0.999;
    const track = make(
      "span",
      {
        class: "track",
        role: "img",
        "aria-label": `${Math.round(100 * share)} % of the searched range`,
      },
      make("i", { class: "base", style: `left:${(100 * baseUnit[place]) / 65535}%` }),
      make("i", { style: `left:${100 * share}%` }),
    );
    return make(
      "tr",
      {},
      make("th", { scope: "row" }, ...breakable(parameter.name)),
      make("td", { class: "hide-phone" }, parameter.text),
      numberCell(values[place]),
      numberCell(base[place]),
      make(
        "td",
        { class: "number hide-phone" },
        `${shownNumber(parameter.low)} … ${shownNumber(parameter.high)}`,
      ),
      make("td", {}, track, atEnd ? "at an end" : ""),
    );
  });
  const heads = table(
    ["Parameter", "What it is", "This ■", "Baseline ○", "Searched", ""],
    lines,
    "parameters",
  );
  for (const place of [1, 4]) heads.querySelectorAll("thead th")[place].className = "hide-phone";
  const kept = study.parameters.filter((parameter) => "kept" in parameter);
  if (!kept.length) return heads;
  const others = kept.map(({ name, text, kept: value }) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, ...breakable(name)),
      make("td", { class: "hide-phone" }, text),
      numberCell(value),
    ),
  );
  return make(
    "div",
    {},
    heads,
    make(
      "details",
      {},
      make("summary", {}, `${kept.length} more are not searched: every candidate has the baseline's`),
      table(["Parameter", "What it is", "All"], others, "kept"),
    ),
  );
}
