// Light or dark: as the system has it, or as the reader switches it.

const LOOK_KEY = "levelgain look";

/** Follow the switch and the system; `changed` is called after each change. */
function followLook(changed) {
  const choice = byId("look");
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const apply = () => {
    const wanted = choice.value === "system" ? (dark.matches ? "dark" : "light") : choice.value;
    document.documentElement.dataset.look = wanted;
    readShades();
  };
  try {
    choice.value = localStorage.getItem(LOOK_KEY) || "system";
  } catch {
    choice.value = "system"; // a page from a file may keep nothing
  }
  apply();
  const follow = () => {
    apply();
    changed();
  };
  choice.onchange = () => {
    try {
      localStorage.setItem(LOOK_KEY, choice.value);
    } catch {
      // then it holds until the page is left
    }
    follow();
  };
  dark.addEventListener("change", follow);
}
