// The nose-downs of a validation, one film at a time.

function start() {
  const study = JSON.parse(byId("study-data").textContent);
  const choice = byId("which");
  study.films.forEach(({ what, ride }, place) =>
    choice.append(make("option", { value: place }, `${place + 1}: ${what}, ${ride}`)),
  );

  function show() {
    const { own, base } = study.films[Number(choice.value)];
    const rides = [{ filmed: own, name: study.called, kind: "this" }];
    if (base) rides.push({ filmed: base, name: "the baseline", kind: "base" });
    clearPlots(byId("ride"));
    byId("no-baseline").hidden = Boolean(base);
    showRide(study, byId("ride"), rides);
  }

  const step = (by) => () => {
    choice.value = (Number(choice.value) + by + study.films.length) % study.films.length;
    show();
  };
  byId("before").onclick = step(-1);
  byId("next").onclick = step(1);
  choice.onchange = show;
  followPrinting();
  followLook(show);
  show();
}

start();
