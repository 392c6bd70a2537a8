// The front in every pair of objectives and one pair of the reader's own, all linked.

const ROOM = 0.07; // around the points

/** Make the plots once. */
function makeScatters(study, choose, brush) {
  const box = byId("scatter");
  const pairs = [];
  study.objectives.forEach((first, place) =>
    study.objectives.slice(place + 1).forEach((second) => pairs.push([first, second])),
  );
  pairs.push(null);
  const names = unlike(study);
  fillAxis(
    byId("axis-x"),
    study,
    names,
    names.find((name) => name === "feel_deg_per_mps2") || names[0],
  );
  fillAxis(byId("axis-y"), study, names, study.objectives[0]);
  return pairs.map((pair, place) => {
    const plot = make("div", {
      class: "plot",
      "data-print-share": "0.49",
      id: `scatter-${place}`,
      role: "figure",
      "aria-label": "Scatter plot; the table of candidates has the same by keyboard",
    });
    box.append(plot);
    return {
      plot,
      axes: () => pair || [byId("axis-x").value, byId("axis-y").value],
      listen() {
        plot.on("plotly_click", (event) => choose(event.points[0].customdata));
        plot.on("plotly_selected", (event) => {
          if (event && event.points.length)
            brush(new Set(event.points.map((point) => point.customdata)));
        });
      },
    };
  });
}

function fillAxis(select, study, names, wanted) {
  for (const name of names) select.append(make("option", { value: name }, study.labels[name]));
  select.value = wanted;
}

/** Draw all plots again for what is shown and chosen. */
function drawScatters(scatters, study, state) {
  for (const scatter of scatters) {
    const [across, up] = scatter.axes();
    const points = (rows, name, marker) => ({
      x: rows.map((row) => placed(study, state, across, row)),
      y: rows.map((row) => placed(study, state, up, row)),
      customdata: rows.map((row) => study.rows.number.values[row]),
      text: rows.map((row) =>
        [
          plain(called(study, study.rows.number.values[row])),
          ...[across, up].map((name) =>
            withUnit(study, name, shownNumber(measure(study, state, name, row))),
          ),
        ].join("<br>"),
      ),
      hovertemplate: "%{text}<extra></extra>",
      type: "scatter",
      mode: "markers",
      name,
      marker,
      selectedpoints: null,
    });
    const traces = layers(study, state).map(([name, rows, marker]) => points(rows, name, marker));
    draw(
      scatter.plot,
      traces,
      {
        height: 330,
        uirevision: `${across} ${up}`,
        shapes: rings(study, state, across, up),
        xaxis: axis(study.labels[across], scaled(study, state, across)),
        yaxis: axis(study.labels[up], scaled(study, state, up)),
      },
      { tools: true, listen: scatter.listen },
    );
  }
}

/** Return what is drawn, the lowest first: name, rows, marker. */
function layers(study, state) {
  const inside = (number) => state.shown.has(study.rowOf.get(number));
  const rows = [...state.shown];
  const onFront = (row) => study.rows.on_front.values[row];
  const edge = { color: shade.paper, width: 0.5 };
  const found = [
    [
      "not on the front, meets every constraint",
      rows.filter((row) => !onFront(row) && study.rows.feasible.values[row]),
      { color: shade.faint, size: 5, symbol: "circle" },
    ],
    [
      "fails a constraint",
      rows.filter((row) => !study.rows.feasible.values[row]),
      { color: shade.grey, size: 6, symbol: "x-thin-open" },
    ],
    ["front", rows.filter(onFront), { color: SKY, size: 9, symbol: "circle", line: edge }],
    ["baseline", [study.rowOf.get(0)], { color: shade.ink, size: 13, symbol: "x" }],
  ];
  for (const [name, number] of Object.entries(study.picks)) {
    const [color, symbol] = study.pick_marks[name];
    const marker = { color: "rgba(0,0,0,0)", size: 13, symbol, line: { color, width: 2.5 } };
    found.push([
      name.replaceAll("_", " "),
      inside(number) ? [study.rowOf.get(number)] : [],
      marker,
    ]);
  }
  return found;
}

const RING_PX = 11;

/** Return a ring around the chosen candidate, and a dashed one with a letter around each pinned. */
function rings(study, state, across, up) {
  const marked = [
    ...state.pinned.map((number, place) => [number, { dash: "dot" }, { text: PIN_NAMES[place] }]),
    [state.chosen, { dash: "solid" }, {}],
  ];
  return marked.flatMap(([number, line, label]) => {
    const row = study.rowOf.get(number);
    const [x, y] = [across, up].map((name) => placed(study, state, name, row));
    if (Number.isNaN(x) || Number.isNaN(y)) return [];
    return {
      type: "circle",
      name: `${label.text || "chosen"}`,
      xsizemode: "pixel",
      ysizemode: "pixel",
      xanchor: x,
      yanchor: y,
      x0: -RING_PX,
      x1: RING_PX,
      y0: -RING_PX,
      y1: RING_PX,
      line: { color: shade.ink, width: 2.5, ...line },
      label: { ...label, textposition: "top right", font: { color: shade.ink, size: 12 } },
    };
  });
}

/** Move the rings: quicker than to draw all points again. */
function markScatters(scatters, study, state) {
  for (const { plot, axes } of scatters) {
    const [across, up] = axes();
    const shapes = rings(study, state, across, up);
    const chosen = shapes.at(-1),
      { xaxis, yaxis } = plot._fullLayout || {};
    const inside =
      !chosen ||
      (xaxis && [[xaxis, chosen.xanchor], [yaxis, chosen.yanchor]].every(
        ([{ range }, value]) => value >= Math.min(...range) && value <= Math.max(...range),
      ));
    if (!inside || busy.has(plot)) return drawScatters(scatters, study, state);
  }
  for (const { plot, axes } of scatters)
    Plotly.relayout(plot, { shapes: rings(study, state, ...axes()) });
}

const isLog = (study, name) => name in study.least_drawn;

/** Return where a value is drawn: its power of ten on a logarithmic axis, whose end is the least. */
const placed = (study, state, name, row) => {
  const value = measure(study, state, name, row);
  return isLog(study, name) ? Math.log10(Math.max(value, study.least_drawn[name])) : value;
};

const POWERS = [-6, -5, -4, -3, -2, -1, 0, 1, 2, 3, 4];

/** Return the ends of an axis, and the ticks of a logarithmic one.

The library's own logarithmic axis draws rings of pixels as ellipses. */
const scaled = (study, state, name) => ({
  range: rangeOf(study, state, name),
  ...(isLog(study, name) && {
    tickvals: POWERS,
    ticktext: POWERS.map((power) => String(Number(`1e${power}`))),
  }),
});

/** Return the ends of an axis: around the shown front and the baseline, or all that is shown. */
function rangeOf(study, state, name) {
  const rows = [...state.shown];
  const front = rows.filter((row) => study.rows.on_front.values[row]);
  const fitted = [
    ...(front.length ? front : rows),
    study.rowOf.get(0),
    study.rowOf.get(state.chosen),
  ];
  const values = fitted
    .map((row) => placed(study, state, name, row))
    .filter((value) => !Number.isNaN(value));
  if (!values.length) return undefined; // nothing is known: as the library has it
  const low = Math.min(...values),
    high = Math.max(...values);
  const room = ROOM * Math.max(high - low, 1e-6);
  return [low - room, high + room];
}

/** Say what each marker means. */
function drawLegend(study, state) {
  const shapes = {
    circle: "M8 2a6 6 0 1 0 .01 0z",
    square: "M2 2h12v12h-12z",
    "triangle-up": "M8 2l7 12h-14z",
    "triangle-down": "M8 14l7-12h-14z",
    diamond: "M8 1l7 7-7 7-7-7z",
    x: "M3 3l10 10M13 3l-10 10",
    "x-thin-open": "M4 4l8 8M12 4l-8 8",
  };
  byId("legend").replaceChildren(
    ...layers(study, state).map(([name, , marker]) => {
      const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
      svg.setAttribute("width", 16);
      svg.setAttribute("height", 16);
      svg.setAttribute("aria-hidden", "true");
      const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
      const open = marker.color.startsWith("rgba") || marker.symbol.startsWith("x");
      path.setAttribute("d", shapes[marker.symbol]);
      path.setAttribute("fill", open ? "none" : marker.color);
      path.setAttribute(
        "stroke",
        marker.symbol.startsWith("x") ? marker.color : (marker.line || {}).color || "none",
      );
      path.setAttribute("stroke-width", marker.symbol === "x" ? 4 : 2);
      svg.append(path);
      return make("span", {}, svg, name);
    }),
  );
}
