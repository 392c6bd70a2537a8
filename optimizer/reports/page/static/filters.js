// Weights and filters: which candidates are shown, and in which order.

const RANGE_STEPS = 1000;

/** Make a weight's slider for every objective; `changed` is called after each move. */
function makeWeights(study, changed) {
  const highest = Math.max(...study.weights);
  byId("weights").replaceChildren(
    ...study.objectives.map((name, place) => {
      const id = `weight-${name}`;
      const slider = make("input", { type: "range", id, min: 0, max: 2 * highest, step: "any" });
      slider.value = study.weights[place];
      slider.addEventListener("input", changed);
      return make(
        "div",
        { class: "slider" },
        make("label", { for: id }, study.labels[name]),
        slider,
        make("output", { for: id }),
      );
    }),
  );
  byId("weights-reset").onclick = () => {
    study.objectives.forEach((name, place) => {
      byId(`weight-${name}`).value = study.weights[place];
    });
    changed();
  };
}

/** Return the weights of the sliders, or null where all are zero and nothing can be ranked. */
function readWeights(study) {
  const weights = study.objectives.map((name) => Number(byId(`weight-${name}`).value));
  const total = weights.reduce((sum, weight) => sum + weight, 0);
  study.objectives.forEach((name, place) => {
    const share = total > 0 ? `${Math.round((100 * weights[place]) / total)} %` : "–";
    byId(`weight-${name}`).nextElementSibling.value = share;
  });
  byId("weights-note").textContent =
    total > 0 ? "" : "At least one weight must be above zero; the order is that of before.";
  return total > 0 ? weights : null;
}

const FELT = "feel_deg_per_mps2"; // what words mark: firm, medium, soft
const RANGED_COLUMNS = [FELT, "stiffness_nm_per_deg", "rider_spread_ratio"];

/** Make a slider with two ends for each ranged column and a box for each constraint. */
function makeFilters(study, changed) {
  byId("ranges").replaceChildren(
    ...RANGED_COLUMNS.map((name) => {
      const ends = ["least", "most"].map((end) => {
        const slider = make("input", {
          type: "range",
          id: `${end}-${name}`,
          min: 0,
          max: RANGE_STEPS,
          step: 1,
          "aria-label": `${end === "least" ? "At least" : "At most"}: ${study.labels[name]}`,
        });
        slider.addEventListener("input", () => {
          const [least, most] = ends;
          // The ends may meet; the one that is moved takes the other along.
          if (Number(least.value) > Number(most.value))
            (slider === least ? most : least).value = slider.value;
          changed();
        });
        return slider;
      });
      return make(
        "div",
        { class: "range", id: `range-${name}` },
        make("div", { class: "range-name" }, study.labels[name], make("output", {})),
        make("div", { class: "two-ends" }, make("i", {}), ...ends),
        make("div", { class: "marks", "aria-hidden": "true" }),
      );
    }),
  );
  byId("constraints").replaceChildren(
    ...study.constraints.map(([name, label]) => {
      const box = make("input", { type: "checkbox", id: `constraint-${name}` });
      box.addEventListener("change", changed);
      return make("label", { class: "check" }, box, ` ${label}`);
    }),
  );
  byId("front-only").addEventListener("change", changed);
  resetFilters(study);
}

/** Put every filter back to where it hides nothing of the front. */
function resetFilters(study) {
  for (const name of RANGED_COLUMNS) {
    byId(`least-${name}`).value = 0;
    byId(`most-${name}`).value = RANGE_STEPS;
  }
  for (const [name] of study.constraints) byId(`constraint-${name}`).checked = study.n_feasible > 0;
  byId("front-only").checked = study.n_front > 0;
}

/** Return a column's values and the ends that its slider asks for, and write them beside it. */
function rangeOfFilter(study, name) {
  const values = study.columns[name].values;
  const known = values.filter((value) => !Number.isNaN(value));
  const low = known.length ? known.reduce((a, b) => Math.min(a, b)) : NaN,
    high = known.length ? known.reduce((a, b) => Math.max(a, b)) : NaN;
  const stepOf = (end) => Number(byId(`${end}-${name}`).value);
  const at = (step) => (step === RANGE_STEPS ? high : low + ((high - low) * step) / RANGE_STEPS);
  const [least, most] = ["least", "most"].map((end) => at(stepOf(end)));
  const box = byId(`range-${name}`);
  box.querySelector("output").value = `${shownNumber(least)} … ${shownNumber(most)}`;
  const track = box.querySelector(".two-ends").style;
  track.setProperty("--from", stepOf("least") / RANGE_STEPS);
  track.setProperty("--to", stepOf("most") / RANGE_STEPS);
  const marks = name === FELT ? Object.entries(study.feel_marks) : [];
  writeMarks(box.querySelector(".marks"), marks, low, high);
  // A value that is not known is inside the whole range, and outside any part of it.
  return { values, whole: stepOf("least") === 0 && stepOf("most") === RANGE_STEPS, least, most };
}

/** Write the words for some values below a slider, as far as they lie in its range. */
function writeMarks(box, marks, low, high) {
  box.replaceChildren(
    ...marks
      .filter(([, value]) => value >= low && value <= high)
      .map(([word, value]) =>
        make("span", { style: `--at:${(value - low) / (high - low)}`, title: `about ${value}` }, word),
      ),
  );
}

/** Return the rows that pass every filter and lie in the box drawn in a plot. */
function passing(study, brushed) {
  const rows = Array.from(study.rows.number.values, (_, row) => row);
  const wanted = study.constraints.map(([name]) => byId(`constraint-${name}`).checked);
  const frontOnly = byId("front-only").checked;
  const ranges = RANGED_COLUMNS.map((name) => rangeOfFilter(study, name));
  return rows.filter((row) => {
    const constraints = study.rows.constraints.row(row);
    return (
      (!frontOnly || study.rows.on_front.values[row]) &&
      wanted.every((must, place) => !must || constraints[place] <= 0) &&
      ranges.every(
        ({ values, whole, least, most }) =>
          whole || (values[row] >= least && values[row] <= most),
      ) &&
      (!brushed || brushed.has(study.rows.number.values[row]))
    );
  });
}

/** Write the shown candidates, the least weighted cost first. */
function writeOrder(study, state, choose) {
  const chosen = (row) => study.rows.number.values[row] === state.chosen;
  const rows = state.order.slice(0, state.nRows).map((row) => {
    const number = study.rows.number.values[row];
    const button = make(
      "button",
      { type: "button", tabindex: chosen(row) ? 0 : -1 },
      called(study, number),
    );
    const line = make(
      "tr",
      { "data-number": number, "data-cost": state.costs[row], "aria-current": chosen(row) },
      make("td", {}, button),
      make("td", { class: "number" }, shownCost(state.costs[row])),
      ...study.objectives.map((name) =>
        make("td", { class: "number" }, shownNumber(measure(study, state, name, row))),
      ),
    );
    line.addEventListener("click", () => {
      choose(number);
      line.querySelector("button").focus({ preventScroll: true });
    });
    return line;
  });
  const body = byId("order").tBodies[0];
  const hadFocus = body.contains(document.activeElement);
  body.replaceChildren(...rows);
  const first = body.querySelector('[aria-current="true"] button') || body.querySelector("button");
  if (first) first.tabIndex = 0;
  if (hadFocus && first) first.focus({ preventScroll: true });
  byId("more").hidden = state.order.length <= state.nRows;
  const front = state.order.filter((row) => study.rows.on_front.values[row]).length;
  byId("shown").textContent = whereTheyAre(study, state.order.length, front);
  byId("box-clear").hidden = !state.brushed;
}

/** Say how many candidates are shown, and where the others are. */
function whereTheyAre(study, nShown, nFront) {
  const nHere = study.rows.number.values.length,
    nElsewhere = study.n_ridden - nHere,
    further = nElsewhere - study.n_rejected_early;
  const said = [
    `${nShown} of ${nHere} candidates on this page are shown, ${nFront} of them on the front.`,
  ];
  if (nShown < nHere) said.push(`The filters hide the other ${nHere - nShown}.`);
  if (nElsewhere)
    said.push(
      `Of ${study.n_ridden} that were ridden, ${nElsewhere} are not on this page: ` +
        `${study.n_rejected_early} were rejected early and have no objectives` +
        (further > 0 ? `, ${further} are further from feasible or cost more` : "") +
        ". `levelgain front FOLDER --all` lists them.",
    );
  return said.join(" ");
}

/** Mark the chosen candidate among the rows, without writing them again. */
function markOrder(state) {
  for (const row of byId("order").tBodies[0].rows) {
    const here = Number(row.dataset.number) === state.chosen;
    row.setAttribute("aria-current", here);
    row.querySelector("button").tabIndex = here ? 0 : -1;
  }
  const body = byId("order").tBodies[0];
  if (!body.querySelector('[tabindex="0"]') && body.rows.length)
    body.querySelector("button").tabIndex = 0;
}

/** Return a text that a spreadsheet takes as text: no formula begins with a quote. */
const cellText = (text) => {
  const safe = /^[=+\-@\t\r]/.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
};

/** Return the shown candidates as a table of comma-separated values, numbers in full. */
function csvOf(study, state) {
  const searched = study.parameters.filter((parameter) => "low" in parameter);
  const heads = [
    "number",
    "called",
    "on_front",
    "reevaluated",
    ...measures(study),
    ...searched.map(({ name }) => name),
  ];
  const number = (value) => (Number.isNaN(value) ? "" : String(value));
  const lines = state.order.map((row) => [
    number(study.rows.number.values[row]),
    cellText(called(study, study.rows.number.values[row])),
    number(study.rows.on_front.values[row]),
    number(study.rows.reevaluated.values[row]),
    ...measures(study).map((name) => number(measure(study, state, name, row))),
    ...Array.from(study.rows.values.row(row), number),
  ]);
  return [heads.map(cellText), ...lines].map((cells) => `${cells.join(",")}\r\n`).join("");
}

/** Hand the shown candidates to the reader as a file. */
function downloadCsv(study, state) {
  const address = URL.createObjectURL(new Blob([csvOf(study, state)], { type: "text/csv" }));
  make("a", { href: address, download: "candidates.csv" }).click();
  URL.revokeObjectURL(address);
}

/** Say which of the front have no traces on this page, and how they get them. */
function tellUntraced(study) {
  const front = study.rows.number.values.filter((_, row) => study.rows.on_front.values[row]);
  const without = study.live ? [] : Array.from(front).filter((number) => !study.traces[number]);
  byId("untraced").hidden = !without.length;
  byId("untraced-count").textContent =
    `${without.length} of ${front.length} on the front have no traces on this page`;
  byId("untraced-list").textContent =
    `${without.join(", ")}. For one of them: ${study.commands.page}--with NUMBER`;
}

/** Move through the rows by the arrow keys. */
function followKeys(choose) {
  byId("order").addEventListener("keydown", (event) => {
    const rows = [...byId("order").tBodies[0].rows];
    const here = rows.findIndex((row) => row.contains(document.activeElement));
    const there = { ArrowDown: here + 1, ArrowUp: here - 1, Home: 0, End: rows.length - 1 }[
      event.key
    ];
    if (there === undefined || !rows[there]) return;
    event.preventDefault();
    rows[there].querySelector("button").focus();
    choose(Number(rows[there].dataset.number));
  });
}
