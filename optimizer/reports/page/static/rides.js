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

function heatMaps(study, detail) {
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
            : heatCell(study, values[ride * nCosts + cost], outcome[ride], low, high);
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

function heatCell(study, value, outcome, low, high) {
  if (Number.isNaN(value)) return make("td", { title: "this ride has no such window" }, "–");
  const share = high > low ? (value - low) / (high - low) : 0;
  const place = share * (CIVIDIS.length - 1),
    from = Math.min(Math.floor(place), CIVIDIS.length - 2);
  const color = CIVIDIS[from].map((part, channel) =>
    Math.round(part + (place - from) * (CIVIDIS[from + 1][channel] - part)),
  );
  const text =
    value < 0.01 ? value.toFixed(3) : value < 10 ? value.toPrecision(2) : value.toFixed(0);
  const cell = make(
    "td",
    {
      style: `background:rgb(${color});color:${share < 0.45 ? "#fff" : "#000"}`,
      title: study.outcomes[outcome],
    },
    text,
  );
  if (outcome !== 0) {
    cell.className = "ended";
    cell.prepend("✗ ");
  }
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
      ...lines(study.detailOf.get(0), "baseline", BLACK, 2),
      ...(number === 0 ? [] : lines(detail, called(study, number), VERMILION, 3)),
    ],
    {
      height: 330,
      showlegend: true,
      legend: { orientation: "h", y: 1.02, yanchor: "bottom" },
      margin: { l: 58, r: 12, t: 60, b: 46 },
      xaxis: axis("nose below the wanted level / deg"),
      yaxis: axis("current / A (dashed: phase limit)", { range: [-1.15 * limit, 1.15 * limit] }),
      shapes: [-limit, limit].map((side) => ({
        type: "line",
        xref: "paper",
        x0: 0,
        x1: 1,
        y0: side,
        y1: side,
        line: { color: GREY, dash: "dash", width: 1 },
      })),
    },
  );
}

/** Write the traces of a candidate's worst rides. */
function writeTraces(study, number, body, { detail, own, base }) {
  const box = make("div", { class: "thirds", id: "traces" });
  const there = own && detail.worst.every((place) => own[place]);
  const reevaluated = study.rows.reevaluated.values;
  const other =
    reevaluated[study.rowOf.get(number)] === reevaluated[study.rowOf.get(0)] ? "" : " (on other noise)";
  body.append(
    make("h3", {}, "Its three rides nearest to a nose-down"),
    there
      ? make(
          "p",
          { class: "hint keys" },
          `Vermilion, thick: this one; black, thin: the baseline${other}. Solid: pitch to the ground (nose contact in blue), current, speed, reserve; dashed: pitch to level, current available; dotted: what is wanted. A point every ${1000 * study.trace_step_s} ms; a line ends where its ride does.`,
        )
      : make(
          "p",
          { class: "note" },
          `The traces of this candidate are not stored on this page. ${missing(study, number)}`,
        ),
    box,
  );
  if (!there) return;
  for (const place of detail.worst) {
    const [course, rider] = study.rides[place];
    const plot = make("div", { class: "plot", "data-print-share": "0.33" });
    box.append(
      make(
        "div",
        { class: "keep" },
        make("h3", {}, `${study.courses[course]} / ${study.riders[rider]}`),
        make("p", { class: "hint" }, study.outcomes[detail.outcome[place]]),
        plot,
      ),
    );
    drawRide(study, plot, {
      base: base[place] && number !== 0 ? signalsOf(base[place]) : null,
      own: signalsOf(own[place]),
    });
  }
}

/** Draw one ride: pitch, current, speed and torque reserve over time. */
function drawRide(study, plot, { own, base }) {
  const at = Object.fromEntries(study.signals.map((name, place) => [name, place]));
  const panels = [
    [
      ["ground_pitch_deg", "solid"],
      ["pitch_deg", "dash"],
      ["wanted_pitch_deg", "dot"],
    ],
    [
      ["current_a", "solid"],
      ["available_current_a", "dash"],
    ],
    [
      ["speed_mps", "solid"],
      ["wanted_speed_mps", "dot"],
    ],
    [["torque_reserve_ratio", "solid"]],
  ];
  const titles = ["pitch, nose down / deg", "current / A", "speed / m/s", "torque reserve / 1"];
  const traces = [];
  for (const [signals, color, width, label] of [
    [base, BLACK, 1, "baseline"],
    [own, VERMILION, 1.8, "this"],
  ]) {
    if (!signals) continue;
    panels.forEach((names, panel) =>
      names.forEach(([name, dash]) =>
        traces.push({
          x: signals[at[name]].map((_, sample) => (sample + 1) * study.trace_step_s),
          y: signals[at[name]],
          yaxis: panel ? `y${panel + 1}` : "y",
          type: "scatter",
          mode: "lines",
          connectgaps: false,
          line: { color, width: dash === "solid" ? width : 1, dash },
          name: `${label}: ${name}`,
          hovertemplate: `${label}: ${name.replaceAll("_", " ")} %{y:.3g}<extra></extra>`,
        }),
      ),
    );
  }
  const level = (y, panel, dash) => ({
    type: "line",
    xref: "paper",
    x0: 0,
    x1: 1,
    yref: panel ? `y${panel + 1}` : "y",
    y0: y,
    y1: y,
    line: { color: BLUE, width: 1, dash },
  });
  const layout = {
    height: 640,
    grid: { rows: 4, columns: 1, subplots: [["xy"], ["xy2"], ["xy3"], ["xy4"]] },
    margin: { l: 52, r: 8, t: 8, b: 40 },
    xaxis: axis("time / s", { anchor: "y4" }),
    shapes: [level(study.nose_contact_deg, 0, "dash"), level(0, 3, "solid")],
  };
  titles.forEach((title, panel) => {
    layout[panel ? `yaxis${panel + 1}` : "yaxis"] = axis(title, {
      automargin: false,
      title: { text: title, font: { size: 11 } },
    });
  });
  draw(plot, traces, layout);
}
