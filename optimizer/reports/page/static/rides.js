// The rides of the chosen candidate: a map of all, the stiffness curve, and the worst in time.

// cividis at even steps: dark to light for everybody (Nunez, Anderton & Renslow 2018).
const CIVIDIS = [
  [0, 34, 78],
  [39, 58, 108],
  [73, 82, 110],
  [100, 106, 113],
  [125, 130, 120],
  [154, 156, 115],
  [185, 184, 103],
  [218, 213, 84],
  [254, 232, 56],
];

function heatMaps(study, detail, rides) {
  const values = detail.rides,
    outcome = detail.outcome;
  const nCosts = study.ride_costs.length;
  const maps = study.ride_costs.map((name, cost) => {
    const known = study.rides
      .map((_, ride) => values[ride * nCosts + cost])
      .filter((value) => !Number.isNaN(value));
    const low = Math.min(...known),
      high = Math.max(...known);
    const cells = new Map(study.rides.map(([course, rider], ride) => [`${course} ${rider}`, ride]));
    const lines = study.courses.map((course, row) =>
      make(
        "tr",
        {},
        make("th", { scope: "row" }, course),
        ...study.riders.map((_, column) => {
          const ride = cells.get(`${row} ${column}`);
          return ride === undefined
            ? make("td", {}, "")
            : heatCell(study, values[ride * nCosts + cost], outcome[ride], low, high, [rides, ride]);
        }),
      ),
    );
    return make(
      "div",
      { class: "keep" },
      make("h3", {}, study.labels[name]),
      table(["", ...study.riders], lines, "heat"),
    );
  });
  return make("div", { class: "thirds" }, ...maps);
}

/** Return a cell of the map; with a button where its ride can be looked at. */
function heatCell(study, value, outcome, low, high, [rides, place]) {
  if (Number.isNaN(value)) return make("td", { title: "this ride has no such window" }, "–");
  const share = high > low ? (value - low) / (high - low) : 0;
  const along = share * (CIVIDIS.length - 1),
    from = Math.min(Math.floor(along), CIVIDIS.length - 2);
  const color = CIVIDIS[from].map((part, channel) =>
    Math.round(part + (along - from) * (CIVIDIS[from + 1][channel] - part)),
  );
  const text =
    value < 0.01 ? value.toFixed(3) : value < 10 ? value.toPrecision(2) : value.toFixed(0);
  const cell = make("td", {
    style: `background:rgb(${color});color:${share < 0.45 ? "#fff" : "#000"}`,
    title: study.outcomes[outcome],
  });
  const said = outcome === 0 ? text : `✗ ${text}`;
  if (outcome !== 0) cell.className = "ended";
  if (!rides?.can(place)) {
    cell.append(said);
    return cell;
  }
  const button = make("button", { type: "button", "aria-label": `${said}: look at this ride` }, said);
  button.onclick = () => {
    rides.show(place);
    byId("ride").scrollIntoView({ block: "nearest" });
  };
  cell.append(button);
  return cell;
}

function drawCurve(study, detail, number, plot) {
  const length = detail.curveDeg.length;
  const lines = (which, name, color, width) =>
    ["solid", "dot"].map((dash, braking) => ({
      x: detail.curveDeg,
      y: Array.from(which.curves.subarray(braking * length, (braking + 1) * length)),
      type: "scatter",
      mode: "lines",
      name: plain(name + (braking ? ", braking" : "")),
      line: { color, width, dash },
    }));
  const limit = study.phase_current_limit_a;
  draw(
    plot,
    [
      ...lines(study.detailOf.get(0), "baseline", shade.ink, 2),
      ...(number === 0 ? [] : lines(detail, called(study, number), VERMILION, 3)),
    ],
    {
      height: 330,
      showlegend: true,
      legend: { orientation: "h", y: 1.02, yanchor: "bottom" },
      margin: { l: 58, r: 12, t: 60, b: 46 },
      xaxis: axis("pitch error, nose below the setpoint / deg"),
      yaxis: axis("current / A (dashed: phase current limit)", { range: [-1.15 * limit, 1.15 * limit] }),
      shapes: [-limit, limit].map((side) => ({
        type: "line",
        xref: "paper",
        x0: 0,
        x1: 1,
        y0: side,
        y1: side,
        line: { color: shade.grey, dash: "dash", width: 1 },
      })),
    },
  );
}

/** Write the rides to look at: the worst, and where a server simulates them any other. */
function writeRides(study, state, body, { detail, own, base }) {
  const number = state.chosen;
  const reevaluated = study.rows.reevaluated.values;
  const other =
    reevaluated[study.rowOf.get(number)] === reevaluated[study.rowOf.get(0)] ? "" : " (on other noise)";
  const there = own && detail.worst.every((place) => own[place]);
  const chooser = make("div", { class: "ride-chooser no-print", role: "group", "aria-label": "Rides" });
  const box = make("div", { id: "ride" });
  const others = [0, ...state.pinned].filter((one) => one !== number);
  const beside = make(
    "select",
    { id: "beside" },
    ...others.map((one) => make("option", { value: one }, called(study, one))),
  );
  let now = detail.worst[0];
  beside.onchange = () => show(now);
  body.append(
    make("h3", {}, "Rides to look at, the nearest to a nose-down first"),
    there
      ? make("div", {}, chooser, ...(others.length > 1 ? [make("label", { class: "no-print" }, "Beside ", beside)] : []))
      : make(
          "p",
          { class: "note" },
          `The rides of this candidate are not stored on this page. ${missing(study, number)}`,
        ),
    box,
  );
  if (!there) return null;
  const buttons = new Map();

  /** Return another candidate's ride, or null where the page has none and no server gives it. */
  async function ridden(other, place) {
    const kept = other === 0 ? base : study.traces[other] || {};
    if (!kept[place] && study.live) Object.assign(kept, (await fetchRide(other, place))?.own);
    return kept[place] || null;
  }

  async function show(place) {
    now = place;
    if (!buttons.has(place)) addButton(place);
    for (const [which, button] of buttons) button.setAttribute("aria-pressed", which === place);
    clearPlots(box);
    if (!own[place] && study.live) {
      box.textContent = "Riding it…";
      const answer = await fetchRide(number, place);
      if (!box.isConnected || buttons.get(place).getAttribute("aria-pressed") !== "true") return;
      box.textContent = answer ? "" : "The server has no answer; choose the ride again.";
      if (!answer) return;
      Object.assign(own, answer.own);
      Object.assign(base, answer.base);
    }
    const rides = [{ filmed: own[place], name: called(study, number), kind: "this" }];
    const which = others.length ? Number(beside.value) : null;
    const second = which === null ? null : await ridden(which, place);
    if (!box.isConnected || now !== place) return;
    if (second)
      rides.push({ filmed: second, name: `${called(study, which)}${which === 0 ? other : ""}`, kind: "base" });
    showRide(study, box, rides);
    if (which !== null && !second)
      box.prepend(make("p", { class: "hint" }, `This page has no such ride of ${called(study, which)}; \`levelgain watch\` rides it.`));
  }

  function addButton(place) {
    const [course, rider] = study.rides[place];
    const name = `${study.courses[course]} / ${study.riders[rider]}`;
    const button = make("button", { type: "button", "data-place": place }, name);
    button.onclick = () => show(place);
    buttons.set(place, button);
    chooser.append(button);
  }

  detail.worst.forEach(addButton);
  show(detail.worst[0]);
  return { show, can: (place) => study.live || Boolean(own[place]) };
}

/** Show one ride: its film, and its signals, over which a line moves with it. */
function showRide(study, box, rides) {
  const cursor = make("div", { class: "cursor" }),
    plot = make("div", { class: "plot", id: "traces" });
  const place = (seconds) => {
    const axes = plot._fullLayout;
    if (axes) cursor.style.left = `${axes.xaxis._offset + axes.xaxis.d2p(seconds)}px`;
  };
  let now = 0;
  const { film, seekTime } = makeFilm(study, rides, (seconds) => {
    now = seconds;
    place(seconds);
  });
  plot.addEventListener("click", (event) => {
    const { xaxis } = plot._fullLayout;
    seekTime(xaxis.p2d(event.clientX - plot.getBoundingClientRect().x - xaxis._offset));
  });
  box.append(
    film,
    make(
      "p",
      { class: "hint keys" },
      `Vermilion, thick: this one; thin: the other. Dotted: pitch setpoint and wanted speed; dashed: the current available. A point every ${1000 * study.trace_step_s} ms; a line ends where its ride does. Click in the signals to go to that moment.`,
    ),
    make("div", { class: "over-time" }, plot, cursor),
  );
  drawSignals(study, plot, rides, () => place(now));
}

const PANELS = [
  [
    ["pitch_deg", "solid"],
    ["wanted_pitch_deg", "dot"],
  ],
  [["nose_clearance_cm", "solid"]],
  [
    ["current_a", "solid"],
    ["available_current_a", "dash"],
  ],
  [
    ["speed_mps", "solid"],
    ["wanted_speed_mps", "dot"],
  ],
  [["warning_lift_deg", "solid"]],
];
const PANEL_TITLES = [
  "pitch, nose<br>down / deg",
  "nose above<br>ground / cm",
  "current / A",
  "speed / m/s",
  "warning<br>lift / deg",
];
const LOOKS = { this: () => [VERMILION, 1.8], base: () => [shade.ink, 1] };

/** Draw the signals of one ride over time, the baseline's below. */
function drawSignals(study, plot, rides, ready) {
  const at = Object.fromEntries(study.signals.map((name, place) => [name, place]));
  const traces = [];
  for (const { filmed, kind } of [...rides].reverse()) {
    const signals = signalsOf(filmed.signals);
    const [color, width] = LOOKS[kind](),
      label = kind === "this" ? "this" : "other";
    const time = signals[0].map((_, sample) => filmed.from_s + (sample + 1) * study.trace_step_s);
    PANELS.forEach((names, panel) =>
      names.forEach(([name, dash]) =>
        traces.push({
          x: time,
          y: signals[at[name]],
          yaxis: panel ? `y${panel + 1}` : "y",
          type: "scatter",
          mode: "lines",
          connectgaps: false,
          line: { color, width: dash === "solid" ? width : 1, dash },
          name: `${label}: ${name}`,
          hovertemplate: `${label}: ${name.replaceAll("_", " ")} %{y:.3g} at %{x:.2f} s<extra></extra>`,
        }),
      ),
    );
  }
  const layout = {
    height: 620,
    grid: { rows: PANELS.length, columns: 1, subplots: PANELS.map((_, panel) => [panel ? `xy${panel + 1}` : "xy"]) },
    margin: { l: 64, r: 8, t: 8, b: 40 },
    xaxis: axis("time / s", { anchor: `y${PANELS.length}` }),
    shapes: [
      {
        type: "line",
        xref: "paper",
        x0: 0,
        x1: 1,
        yref: "y2",
        y0: 0,
        y1: 0,
        line: { color: shade.blue, width: 1, dash: "dash" },
      },
    ],
  };
  PANEL_TITLES.forEach((title, panel) => {
    layout[panel ? `yaxis${panel + 1}` : "yaxis"] = axis("", {
      automargin: false,
      title: { text: title, font: { size: 11 } },
    });
  });
  draw(plot, traces, layout, { listen: ready });
}
