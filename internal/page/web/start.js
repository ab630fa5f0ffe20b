// Starts the page.

import { App, lacking } from "./app.js";
import { words } from "./words.js";

const missing = lacking();
document.getElementById("old")?.remove();
/** @type {Record<string, string>} */
const fixed = { ...words.screens, skip: words.skip };
for (const e of document.querySelectorAll("[data-word]")) {
  e.textContent = fixed[/** @type {HTMLElement} */ (e).dataset.word ?? ""];
}
document.querySelector("nav")?.setAttribute("aria-label", words.nav);
if (missing) {
  const p = document.createElement("p");
  p.className = "trouble";
  p.textContent = words.trouble.browser(missing);
  document.getElementById("main")?.replaceChildren(p);
} else {
  new App();
}
