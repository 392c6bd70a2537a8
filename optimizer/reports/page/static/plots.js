// One look for every plot. Colours after Okabe and Ito (2008), distinct to colour-blind readers;
// what a colour says, a marker or a dash says too.

const SKY = "#56B4E9",
  VERMILION = "#D55E00";
const shade = {}; // what changes between a light and a dark page, as page.css has it
const SHADES = ["ink", "paper", "grid", "grey", "faint", "blue"];

/** Take the colours of today's look. */
function readShades() {
  const style = getComputedStyle(document.documentElement);
  for (const name of SHADES) shade[name] = style.getPropertyValue(`--${name}`).trim();
}

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
    font: { size: 12, color: shade.ink },
    paper_bgcolor: shade.paper,
    plot_bgcolor: shade.paper,
    modebar: { bgcolor: "rgba(0,0,0,0)", color: shade.grey, activecolor: shade.ink },
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
  sayDrawn();
}

let held = 0; // works that are still to draw

/** Say to who waits for it whether all is drawn. */
function sayDrawn() {
  if (!busy.size && !held) document.documentElement.dataset.drawn = "yes";
}

/** Return a function that does a work after the next paint; of several that wait only the last. */
function afterPaint(work) {
  let wanted = 0;
  return () => {
    const mine = (wanted += 1);
    held += 1;
    delete document.documentElement.dataset.drawn;
    requestAnimationFrame(() =>
      setTimeout(async () => {
        try {
          if (mine === wanted) await work();
        } finally {
          held -= 1;
          sayDrawn();
        }
      }),
    );
  };
}

const axis = (title, more = {}) => ({
  title: { text: plain(title), font: { size: 12 }, standoff: 6 },
  gridcolor: shade.grid,
  zerolinecolor: shade.faint,
  linecolor: shade.grey,
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
