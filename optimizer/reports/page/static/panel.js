// The chosen candidate's place: a panel at the side, or on a narrow screen a sheet over the page.

const NARROW = matchMedia("(max-width: 64rem)");
let cameFrom = null; // what had the focus before the sheet came up

/** Bring the sheet up where there is one; `focus` moves the keyboard there. */
function openSheet() {
  if (!NARROW.matches || byId("candidate").dataset.open) return;
  cameFrom = document.activeElement;
  byId("candidate").dataset.open = "yes";
  byId("sheet-close").focus({ preventScroll: true });
}

function closeSheet() {
  delete byId("candidate").dataset.open;
  if (cameFrom?.isConnected) cameFrom.focus({ preventScroll: true });
}

function followSheet() {
  byId("sheet-close").onclick = closeSheet;
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && byId("candidate").dataset.open) closeSheet();
  });
}
