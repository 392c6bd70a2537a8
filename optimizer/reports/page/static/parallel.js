// Parallel coordinates: every shown profile of the front as a line over its numbers.

const MOST_LINES = 300; // a line each; more only darken the plot
const NARROW_PX = 760;

/** Return what each coordinate is: its label, its ends, and a candidate's place and value on it. */
function coordinates(study, state) {
  if (byId("parallel-what").value === "parameters") {
    const searched = study.parameters.filter((parameter) => "low" in parameter);
    return searched.map((parameter, place) => ({
      label: parameter.name,
      low: parameter.low,
      high: parameter.high,
      share: (row) => study.rows.unit.row(row)[place] / 65535,
      value: (row) => study.rows.values.row(row)[place],
    }));
  }
  const fitted = [...state.shown, study.rowOf.get(0), study.rowOf.get(state.chosen)];
  return unlike(study).map((name) => {
    const values = fitted
      .map((row) => measure(study, state, name, row))
      .filter((value) => !Number.isNaN(value));
    const low = values.length ? Math.min(...values) : NaN,
      high = values.length ? Math.max(...values) : NaN;
    const value = (row) => measure(study, state, name, row);
    return {
      label: study.labels[name],
      low,
      high,
      value,
      share: (row) => (high > low ? (value(row) - low) / (high - low) : 0.5),
    };
  });
}

/** Draw the lines; on a narrow screen they run down the page. */
function drawParallel(study, state, choose) {
  const plot = byId("parallel");
  const along = coordinates(study, state);
  const narrow = plot.clientWidth < NARROW_PX;
  const front = state.order.filter((row) => study.rows.on_front.values[row]);
  const lines = (front.length ? front : state.order).slice(0, MOST_LINES);
  byId("parallel-note").textContent =
    lines.length < front.length
      ? `The ${lines.length} profiles of least weighted cost, of ${front.length} on the front that are shown.`
      : "Every shown profile of the front; with none on the front, the shown candidates. Click a line to choose it.";
  const line = (rows, look) => {
    const shares = [],
      places = [],
      text = [],
      numbers = [];
    for (const row of rows) {
      const name = plain(called(study, study.rows.number.values[row]));
      along.forEach((coordinate, place) => {
        shares.push(coordinate.share(row));
        places.push(place);
        text.push(`${name}<br>${plain(coordinate.label)}: ${shownNumber(coordinate.value(row))}`);
        numbers.push(study.rows.number.values[row]);
      });
      for (const list of [shares, places, text, numbers]) list.push(null);
    }
    const [x, y] = narrow ? [shares, places] : [places, shares];
    return {
      x,
      y,
      text,
      customdata: numbers,
      type: "scatter",
      hoverinfo: "text",
      connectgaps: false,
      ...look,
    };
  };
  const traces = [
    line(lines, { mode: "lines", line: { color: SKY, width: 1 }, opacity: 0.35 }),
    line([study.rowOf.get(0)], {
      mode: "lines+markers",
      line: { color: shade.ink, width: 2.5, dash: "dash" },
      marker: { symbol: "x", size: 7 },
    }),
    line([study.rowOf.get(state.chosen)], {
      mode: "lines+markers",
      line: { color: VERMILION, width: 3 },
      marker: { symbol: "circle", size: 7 },
    }),
  ];
  const ends = (coordinate) =>
    `${plain(coordinate.label)}  [${shownNumber(coordinate.low)} … ${shownNumber(coordinate.high)}]`;
  const short = (coordinate) => plain(coordinate.label.split(" / ")[0]);
  const names = {
    title: { text: `${byId("parallel-what").selectedOptions[0].textContent}, with their ends`, font: { size: 12 } },
    tickvals: along.map((_, place) => place),
    ticktext: along.map(narrow ? short : ends),
    range: narrow ? [along.length - 0.5, -0.5] : [-0.5, along.length - 0.5],
    tickfont: { size: narrow ? 10 : 11 },
    automargin: true,
    gridcolor: shade.faint,
    zeroline: false,
  };
  const shares = {
    title: { text: "position in the range", font: { size: 12 } },
    tickvals: [0, 0.5, 1],
    ticktext: ["low", "middle", "high"],
    range: [-0.04, 1.04],
    automargin: true,
    gridcolor: shade.grid,
    zeroline: false,
  };
  draw(
    plot,
    traces,
    {
      height: narrow ? 80 + 24 * along.length : 470,
      margin: { l: 40, r: 12, t: 10, b: 20 },
      xaxis: narrow ? shares : { ...names, tickangle: 55 },
      yaxis: narrow ? names : shares,
    },
    { listen: () => plot.on("plotly_click", (event) => choose(event.points[0].customdata)) },
  );
}
