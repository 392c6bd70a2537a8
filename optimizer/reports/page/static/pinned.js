// Two pinned candidates beside the baseline: only what differs between them.

const PIN_NAMES = ["A", "B"];

/** Pin a candidate, or let it go; of three the oldest is let go. */
function togglePin(state, number) {
  state.pinned = state.pinned.includes(number)
    ? state.pinned.filter((one) => one !== number)
    : [...state.pinned, number].slice(-PIN_NAMES.length);
}

/** Write the pinned candidates side by side, with what each differs in. */
function writePinned(study, state, choose, changed) {
  byId("pinned").hidden = !state.pinned.length;
  if (!state.pinned.length) return;
  const numbers = [0, ...state.pinned],
    rows = numbers.map((number) => study.rowOf.get(number));
  const line = (label, values) =>
    new Set(values.map(shownNumber)).size > 1
      ? [make("tr", {}, make("th", { scope: "row" }, ...breakable(label)), ...values.map(numberCell))]
      : [];
  const compared = unlike(study).flatMap((name) =>
    line(study.labels[name], rows.map((row) => measure(study, state, name, row))),
  );
  const searched = study.parameters.filter((parameter) => "low" in parameter);
  const settings = searched.flatMap(({ name }, place) =>
    line(name, rows.map((row) => study.rows.values.row(row)[place])),
  );
  const heads = make(
    "tr",
    {},
    make("th", {}),
    make("th", { scope: "col" }, "Baseline"),
    ...state.pinned.map((number, place) => pinnedHead(study, number, place, { choose, changed })),
  );
  byId("pinned-table").replaceChildren(
    make(
      "table",
      { class: "pinned" },
      make("thead", {}, heads),
      make("tbody", {}, ...compared),
      make("tbody", { class: "settings" }, ...settings),
    ),
  );
}

function pinnedHead(study, number, place, { choose, changed }) {
  const name = make("button", { type: "button" }, `${PIN_NAMES[place]}: ${called(study, number)}`);
  name.onclick = () => choose(number);
  const off = make("button", { type: "button", "aria-label": `Unpin ${called(study, number)}` }, "✕");
  off.onclick = () => changed(number);
  return make("th", { scope: "col" }, name, " ", off);
}
