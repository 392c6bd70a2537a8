// While a study runs: ask the server on this machine whether a generation has landed.

const ASK_EVERY_MS = 2000;

/** Ask again and again; `renew` is given a study that has grown. */
function followStudy(study, renew) {
  let seen = study.version;
  const say = (text) => {
    byId("live-state").textContent = text;
  };
  say("Live.");
  const ask = async () => {
    try {
      const { version, progress } = await answerOf("/version.json");
      if (version !== seen) {
        const payload = await answerOf("/study.json");
        seen = payload.version;
        renew(opened(payload));
      }
      say(inWords(progress));
    } catch {
      say("The server has stopped; this is what it showed last.");
    }
    setTimeout(ask, ASK_EVERY_MS);
  };
  setTimeout(ask, ASK_EVERY_MS);
}

/** Return how far a search has come, as text. */
function inWords({ done, wanted, running, left_s }) {
  const how = `Live: ${done} of ${wanted} candidates`;
  if (!running) return `${how}; no search is going on.`;
  if (done >= wanted) return `${how}; the front is re-evaluated.`;
  if (left_s === null) return `${how}; time left not known yet.`;
  return `${how}, about ${left_s < 90 ? `${Math.ceil(left_s)} s` : `${Math.ceil(left_s / 60)} min`} left.`;
}

async function answerOf(path) {
  const answer = await fetch(path, { cache: "no-store" });
  if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
  return answer.json();
}

/** Return a candidate's details and traces, and the baseline's traces; null where there are none. */
async function fetchCandidate(number) {
  try {
    return await answerOf(`/candidate/${number}.json`);
  } catch {
    return null;
  }
}

/** Return a candidate and the baseline on one ride; null where there is no answer. */
async function fetchRide(number, place) {
  try {
    return await answerOf(`/ride/${number}/${place}.json`);
  } catch {
    return null;
  }
}
