// One look for every plot. Colours after Okabe and Ito (2008), distinct to colour-blind readers;
// what a colour says, a marker or a dash says too.

const BLACK = "#000000",
  SKY = "#56B4E9",
  BLUE = "#0072B2",
  VERMILION = "#D55E00",
  GREY = "#777777";
const PRINT_WIDTH_PX = 700; // of an A4 page within its margins

const FINGERS = matchMedia("(pointer: coarse)").matches; // a finger scrolls the page, also over a plot

const drawn = new Set(); // elements that hold a plot
const waiting = new Map(); // element -> what to draw next
const busy = new Set(); // elements whose drawing is not finished

/** Return text that the plots show as it is. */
const plain = (text) =>
  String(text).replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");

/**
 * Draw traces into an element, or change what it shows, as soon as its last drawing is finished;
 * of several drawings that wait only the last is made. `listen` is called once, after the first.
 */
function draw(element, traces, layout, { tools = false, listen = null } = {}) {
  const whole = {
    autosize: true,
    hovermode: "closest",
    showlegend: false,
    dragmode: tools && !FINGERS ? "zoom" : false,
    margin: { l: 58, r: 12, t: 26, b: 46 },
    font: { size: 12, color: "#111" },
    paper_bgcolor: "#fff",
    plot_bgcolor: "#fff",
    ...layout,
  };
  const settings = {
    responsive: true,
    displaylogo: false,
    displayModeBar: tools,
    showTips: false,
    modeBarButtons: [["zoom2d", "pan2d", "select2d", "lasso2d", "resetScale2d", "toImage"]],
  };
  waiting.set(element, [traces, whole, settings]);
  if (!busy.has(element)) drawWaiting(element, drawn.has(element) ? null : listen);
  drawn.add(element);
}

async function drawWaiting(element, listen) {
  busy.add(element);
  delete document.documentElement.dataset.drawn;
  let first = listen;
  while (waiting.has(element)) {
    const wanted = waiting.get(element);
    waiting.delete(element);
    await Plotly.react(element, ...wanted);
    if (first) first();
    first = null;
  }
  busy.delete(element);
  if (!drawn.has(element)) Plotly.purge(element);
  if (!busy.size) document.documentElement.dataset.drawn = "yes";
}

const axis = (title, more = {}) => ({
  title: { text: plain(title), font: { size: 12 }, standoff: 6 },
  gridcolor: "#e4e4e4",
  zerolinecolor: "#bbb",
  linecolor: "#888",
  automargin: true,
  ...more,
});

/** Forget the plots of an element that is about to be emptied. */
function clearPlots(element) {
  for (const plot of [...drawn].filter((one) => element.contains(one))) {
    drawn.delete(plot);
    waiting.delete(plot);
    if (!busy.has(plot)) Plotly.purge(plot);
  }
  element.replaceChildren();
}

/** Fit every plot to the paper, and back to the screen. */
function followPrinting() {
  window.addEventListener("beforeprint", () => {
    for (const plot of drawn) {
      const share = Number(plot.dataset.printShare || 1);
      Plotly.relayout(plot, { autosize: false, width: Math.floor(PRINT_WIDTH_PX * share) });
    }
  });
  window.addEventListener("afterprint", () => {
    for (const plot of drawn) Plotly.relayout(plot, { autosize: true, width: null });
  });
}
