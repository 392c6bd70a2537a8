// How the search went: the front after each generation.

const HISTORY_PANELS = [
  ["best_cost_ratio", "best cost<br>/ baseline 1"],
  ["volume_ratio", "hypervolume<br>/ 1"],
  ["n_front", "front<br>/ number"],
];

/** Draw size, volume and best cost of the front over the candidates ridden. */
function drawHistory(study) {
  byId("gain-note").textContent = study.latest_gain_note;
  const rows = Object.fromEntries(
    Object.entries(study.history).map(([name, packed]) => [name, Array.from(unpacked(packed).values)]),
  );
  const traces = HISTORY_PANELS.map(([name, label], panel) => ({
    x: rows.n_ridden,
    y: rows[name],
    yaxis: panel ? `y${panel + 1}` : "y",
    type: "scatter",
    mode: "lines+markers",
    line: { color: VERMILION, width: 2, shape: "hv" },
    marker: { size: 5 },
    connectgaps: false,
    hovertemplate: `${label.replace("<br>", " ")}: %{y:.4g} after %{x} candidates<extra></extra>`,
  }));
  const layout = {
    height: 380,
    grid: { rows: 3, columns: 1, subplots: [["xy"], ["xy2"], ["xy3"]] },
    margin: { l: 74, r: 12, t: 8, b: 44 },
    xaxis: axis("candidates ridden / number", { anchor: "y3", rangemode: "tozero" }),
  };
  HISTORY_PANELS.forEach(([, label], panel) => {
    layout[panel ? `yaxis${panel + 1}` : "yaxis"] = axis("", {
      automargin: false,
      title: { text: label, font: { size: 11 } },
    });
  });
  draw(byId("history"), traces, layout);
}
