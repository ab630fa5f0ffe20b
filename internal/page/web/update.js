// New versions of an installed page: offered, never forced into a drill.

import { words } from "./words.js";

/**
 * offerUpdates registers the service worker of the version that the server has, and
 * offers it once it waits. Without a network what is here already is used.
 * @param {import("./app.js").App} app
 */
export async function offerUpdates(app) {
  if (!("serviceWorker" in navigator)) return;
  const workers = navigator.serviceWorker;
  let reloading = false;
  const had = workers.controller !== null;
  workers.addEventListener("controllerchange", () => {
    if (!had || reloading) return;
    reloading = true;
    location.reload();
  });
  try {
    const got = await fetch("files.json", { cache: "no-store" });
    if (!got.ok) return;
    const { version } = await got.json();
    const registration = await workers.register(`sw.js?v=${encodeURIComponent(version)}`);
    const offer = () => {
      if (!registration.waiting || !workers.controller) return;
      app.later(() => app.add({ code: "update", text: words.update.text, act: { label: words.update.use, does: () => registration.waiting?.postMessage({ do: "take-over" }) } }));
    };
    offer();
    registration.addEventListener("updatefound", () => registration.installing?.addEventListener("statechange", offer));
  } catch {
    // no network: the page runs from what it kept
  }
}
