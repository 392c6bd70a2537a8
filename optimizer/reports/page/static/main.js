// The page: what the reader changes, and what follows from it.

const FIRST_ROWS = 12;

function start() {
  let study = opened(JSON.parse(byId("study-data").textContent));
  const state = {
    chosen: study.picks.lowest_cost ?? 0,
    pinned: [],
    brushed: null,
    nRows: FIRST_ROWS,
    costs: [],
    order: [],
    shown: new Set(),
  };
  readShades();
  const scatters = makeScatters(study, choose, (numbers) => {
    state.brushed = numbers;
    follow();
  });
  makeWeights(study, reweigh);
  makeFilters(study, follow);
  followKeys(choose);
  followPrinting();
  followSheet();
  followLook(() => {
    follow();
    drawHistory(study);
    showChosen();
  });

  byId("filters-reset").onclick = () => {
    resetFilters(study);
    state.brushed = null;
    follow();
  };
  byId("box-clear").onclick = () => {
    state.brushed = null;
    for (const { plot } of scatters) Plotly.relayout(plot, { selections: [] });
    follow();
  };
  byId("csv").onclick = () => downloadCsv(study, state);
  byId("more").onclick = () => {
    state.nRows *= 2;
    writeOrder(study, state, choose);
  };
  for (const id of ["axis-x", "axis-y"])
    byId(id).onchange = () => drawScatters(scatters, study, state);
  byId("parallel-what").onchange = () => drawParallel(study, state, choose);
  byId("find").onsubmit = (event) => {
    event.preventDefault();
    seek(byId("find-number").value.trim());
  };
  window.addEventListener("hashchange", readAddress);

  /** Choose a candidate: its head is there at once, the rest after the next paint. */
  function choose(number) {
    if (!study.rowOf.has(number)) return;
    state.chosen = number;
    writeAddress();
    markOrder(state);
    markPicks();
    byId("candidate").scrollTop = 0;
    writeHead(study, state, { pin });
    openSheet();
    drawRest();
  }

  function pin(number) {
    togglePin(state, number);
    writeAddress();
    writePinned(study, state, choose, pin);
    showChosen();
  }

  function writeAddress() {
    const pinned = state.pinned.length ? `&pinned=${state.pinned.join(",")}` : "";
    history.replaceState(null, "", `#${state.chosen}${pinned}`);
  }

  /** Rank again by the weights, and show it: only what costs are drawn in is drawn again. */
  function reweigh() {
    rank();
    const withCost = scatters.filter(({ axes }) => axes().includes("weighted_cost_ratio"));
    drawScatters(withCost, study, state);
    drawParallel(study, state, choose);
  }

  /** Filter and rank again, and show it. */
  function follow() {
    state.shown = new Set(passing(study, state.brushed));
    rank();
    drawScatters(scatters, study, state);
    drawParallel(study, state, choose);
  }

  function rank() {
    const weights = readWeights(study);
    const rows = Array.from(study.rows.number.values, (_, row) => row);
    if (weights) state.costs = rows.map((row) => weightedCost(study, weights, row));
    // A cost that is not known comes last.
    const cost = (row) => (Number.isNaN(state.costs[row]) ? Infinity : state.costs[row]);
    state.order = [...state.shown].sort((a, b) => cost(a) - cost(b) || a - b);
    writeOrder(study, state, choose);
    refreshVerdict();
  }

  function refreshVerdict() {
    const old = byId("candidate-body").firstElementChild;
    if (old) old.replaceWith(verdict(study, state, study.rowOf.get(state.chosen)));
  }

  function showChosen() {
    writePicks();
    writePinned(study, state, choose, pin);
    writeHead(study, state, { pin });
    drawRest();
  }

  function markPicks() {
    for (const button of byId("picks").children)
      button.setAttribute("aria-pressed", Number(button.dataset.number) === state.chosen);
  }

  function writePicks() {
    const picks = [
      ["baseline", 0, "✕"],
      ...Object.entries(study.picks).map(([name, number]) => [
        name,
        number,
        MARKS[study.pick_marks[name][1]],
      ]),
    ];
    byId("picks").replaceChildren(
      ...picks.map(([name, number, mark]) => {
        const button = make(
          "button",
          { type: "button", "data-pick": name, "data-number": number, "aria-pressed": number === state.chosen },
          make("span", { class: "mark", "aria-hidden": "true" }, mark),
          `${name.replaceAll("_", " ")} (${number})`,
        );
        button.onclick = () => choose(number);
        return button;
      }),
    );
    byId("counts").textContent =
      `${study.n_ridden} candidates ridden, ${study.n_feasible} meet every constraint, ${study.n_front} on the front.` +
      (study.n_front
        ? ""
        : " None meets every constraint, so there are no picks; all are shown, and those nearest to meeting them are shown in detail.");
    drawLegend(study, state);
    tellUntraced(study);
  }

  /** Choose the candidate that a text names, or say why not. */
  function seek(text) {
    const there = /^\d+$/.test(text) && study.rowOf.has(Number(text));
    byId("find-note").textContent = there
      ? ""
      : `${text || "Nothing"} is not a candidate on this page; ${study.commands.page}--with NUMBER puts one there.`;
    if (there) choose(Number(text));
  }

  function readAddress() {
    const [, number, pinned] = /^#(\d+)(?:&pinned=([\d,]+))?$/.exec(location.hash) || [];
    if (number === undefined) return;
    const there = (pinned || "").split(",").map(Number).filter((one) => one && study.rowOf.has(one));
    state.pinned = [...new Set(there)].slice(0, PIN_NAMES.length);
    writePinned(study, state, choose, pin);
    seek(number);
  }

  /** Show a study that has grown, with the reader's choices kept. */
  function renew(grown) {
    if (!study.n_feasible && grown.n_feasible) resetFilters(grown);
    study = grown;
    if (!study.rowOf.has(state.chosen)) state.chosen = study.picks.lowest_cost ?? 0;
    state.pinned = state.pinned.filter((number) => study.rowOf.has(number));
    follow();
    drawHistory(study);
    showChosen();
  }

  const drawRest = afterPaint(async () => {
    markScatters(scatters, study, state);
    drawParallel(study, state, choose);
    await writeRest(study, state);
  });
  follow();
  showChosen();
  drawHistory(study);
  readAddress();
  if (study.live) followStudy(study, renew);
}

const MARKS = { circle: "○", square: "□", "triangle-up": "△", "triangle-down": "▽", diamond: "◇" };

start();
