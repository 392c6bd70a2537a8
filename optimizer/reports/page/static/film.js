// One ride from the side, moving: rigid parts are put where the study says, frame by frame.

const SEEN_M = { left: -1.75, width: 3.8, above: 2.15, height: 2.7 }; // around the axle
const SPOKES_DEG = [0, 60, 120];
const PACES = [1, 0.5, 0.25, 0.1];

/** Return an element of a drawing. */
function draws(tag, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

const pointsOf = (corners) => corners.map(([x, z]) => `${x},${-z}`).join(" ");
const lineOf = ([[x1, z1], [x2, z2]], name) =>
  draws("line", { class: name, x1, y1: -z1, x2, y2: -z2 });

/** Return a ride as a drawing, and what moves it to a frame. */
function makeScene(study, filmed, { name, kind }) {
  const signals = signalsOf(filmed.signals),
    poses = Object.fromEntries(signalsOf(filmed.poses).map((pose, at) => [study.poses[at], pose]));
  const world = draws("g"),
    wheel = draws("g"),
    board = draws("g"),
    rider = draws("g", { class: "rider" });
  const legs = filmed.board.ankles_m.map(() => draws("line", { class: "leg" }));
  drawGround(study, filmed, world);
  drawBoard(filmed.board, wheel, board);
  drawRider(filmed.rider, rider);
  const under = draws("g", { class: "rider" }, ...legs);
  world.append(rider, wheel, board);
  board.prepend(under);
  const box = `${SEEN_M.left} ${-SEEN_M.above} ${SEEN_M.width} ${SEEN_M.height}`;
  const svg = draws("svg", { viewBox: box, role: "img", "aria-label": `${name} from the side` });
  svg.append(world);
  const said = make("p", { class: "film-said" });
  const figure = make("figure", { class: `scene ${kind}` }, make("figcaption", {}, name), svg, said);
  const read = Object.fromEntries(study.signals.map((signal, at) => [signal, signals[at]]));
  const perFrame = Math.round(study.frame_s / study.trace_step_s);

  function move(frame) {
    const now = Math.min(frame, filmed.n_frames - 1),
      sample = perFrame * (now + 1) - 1;
    const [x, z] = [poses.axle_x_m[now], poses.axle_z_m[now]];
    world.setAttribute("transform", `translate(${-x} ${poses.camera_z_m[now]})`);
    const [ankleX, ankleZ] = [poses.ankle_x_m[now], poses.ankle_z_m[now]];
    for (const [part, degrees, fromX, fromZ] of [
      [board, poses.pitch_deg[now], 0, 0],
      [rider, poses.lean_deg[now], ankleX, ankleZ],
      [wheel, poses.wheel_deg[now], 0, 0],
    ])
      part.setAttribute(
        "transform",
        `translate(${x + fromX} ${-z - fromZ}) rotate(${degrees})`,
      );
    legs.forEach((leg, which) => {
      const [footX, footZ] = filmed.board.ankles_m[which];
      const ends = [footX, -footZ, poses.hip_x_m[now], -poses.hip_z_m[now]];
      ["x1", "y1", "x2", "y2"].forEach((end, at) => leg.setAttribute(end, ends[at]));
    });
    const warned = read.warning_lift_deg[sample] > 0,
      ended = frame >= filmed.n_frames - 1;
    said.replaceChildren(
      `Nose ${Math.max(read.nose_clearance_cm[sample], 0).toFixed(1)} cm above the ground; ` +
        `${read.speed_mps[sample].toFixed(1)} m/s; ${read.current_a[sample].toFixed(0)} A of ` +
        `${read.available_current_a[sample].toFixed(0)} A. `,
      make("strong", { class: warned ? "warned" : "" }, warned ? "⚠ Warning. " : ""),
      make("strong", {}, ended ? `End: ${filmed.ended}.` : ""),
    );
  }
  return { figure, move };
}

function drawGround(study, filmed, world) {
  const [heights] = signalsOf(filmed.ground);
  const top = heights.map(
    (height, at) => `${(filmed.ground_from_m + at * study.ground_step_m).toFixed(3)},${-height.toFixed(4)}`,
  );
  const last = filmed.ground_from_m + (heights.length - 1) * study.ground_step_m,
    deep = 5 - Math.min(...heights);
  world.append(
    draws("path", { class: "earth", d: `M${top.join(" ")} ${last},${deep} ${filmed.ground_from_m},${deep}Z` }),
    draws("polyline", { class: "ground", points: top.join(" ") }),
  );
  for (const [way, x, z] of filmed.posts) {
    const text = draws("text", { class: "post", x, y: 0.24 - z });
    text.textContent = `${way} m`;
    world.append(draws("line", { class: "ground", x1: x, y1: -z, x2: x, y2: 0.12 - z }), text);
  }
}

function drawBoard(shape, wheel, board) {
  const r = shape.wheel_radius_m;
  wheel.append(draws("circle", { class: "tyre", r }));
  for (const degrees of SPOKES_DEG)
    wheel.append(draws("line", { class: "spoke", x1: -r, x2: r, transform: `rotate(${degrees})` }));
  const [[noseX, noseZ]] = shape.deck_m;
  board.append(
    draws("polygon", { class: "deck", points: pointsOf(shape.deck_m) }),
    draws("circle", { class: "nose", cx: noseX, cy: -noseZ, r: 0.03 }),
  );
}

function drawRider(shape, rider) {
  const [headX, headZ] = shape.head_m;
  rider.append(
    ...shape.arms_m.map((arm) => lineOf(arm, "arm")),
    draws("polygon", { class: "torso", points: pointsOf(shape.torso_m) }),
    draws("circle", { cx: headX, cy: -headZ, r: shape.head_radius_m }),
    draws("circle", { class: "com", cy: -shape.com_height_m, r: 0.03 }),
  );
}

/**
 * Return the film of one ride of one or two profiles. `follow` gets the time in s at each move.
 * The film stops when its element has left the page.
 */
function makeFilm(study, rides, follow = () => {}) {
  const scenes = rides.map(({ filmed, ...look }) => makeScene(study, filmed, look));
  const frames = Math.max(...rides.map(({ filmed }) => filmed.n_frames)),
    from = rides[0].filmed.from_s;
  const slider = make("input", { type: "range", min: 0, max: frames - 1, step: 1, value: 0, "aria-label": "Time of the ride" }),
    play = make("button", { type: "button", class: "play" }, "▶ Play"),
    pace = make("select", { "aria-label": "Pace" }, ...PACES.map((share) => make("option", { value: share }, `${share}×`))),
    time = make("output", {});
  const film = make(
    "div",
    { class: "film" },
    make("div", { class: "scenes" }, ...scenes.map(({ figure }) => figure)),
    make("div", { class: "film-controls no-print" }, play, slider, time, pace),
  );
  let playing = null; // when it began, and at which frame

  function seek(frame) {
    const now = Math.max(0, Math.min(frame, frames - 1));
    slider.value = now;
    const seconds = from + (now + 1) * study.frame_s;
    time.value = `${seconds.toFixed(2)} of ${(from + frames * study.frame_s).toFixed(2)} s`;
    for (const { move } of scenes) move(now);
    follow(seconds);
  }

  function stop() {
    playing = null;
    play.textContent = "▶ Play";
  }

  function step(moment) {
    if (!playing || !film.isConnected) return;
    playing.since ??= moment;
    const run = ((moment - playing.since) / 1000 / study.frame_s) * Number(pace.value);
    const frame = playing.from + Math.floor(run);
    if (frame !== Number(slider.value)) seek(frame);
    if (frame >= frames - 1) stop();
    else requestAnimationFrame(step);
  }

  play.onclick = () => {
    if (playing) return stop();
    const here = Number(slider.value);
    playing = { from: here >= frames - 1 ? 0 : here };
    play.textContent = "❚❚ Pause";
    requestAnimationFrame(step);
  };
  pace.onchange = () => {
    if (playing) playing = { from: Number(slider.value) };
  };
  slider.oninput = () => {
    stop();
    seek(Number(slider.value));
  };
  seek(0);
  return {
    film,
    seekTime(seconds) {
      stop();
      seek(Math.round((seconds - from) / study.frame_s) - 1);
    },
  };
}
