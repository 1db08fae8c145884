// Starts the app. Kept tiny: it runs before anything else can.
import start from "./app.js";

// The browser asks here before a text becomes markup or a worker: drawings do, and the worker of the app.
globalThis.trustedTypes?.createPolicy("default", {
  createHTML: (text) =>
    /^(<\/?(svg|path|rect|line|circle|text)( (?!on)[\w-]+="[^"<]*")*\/?>|[^<])*$/.test(text) ? text : null,
  createScriptURL: (url) => (url === "sw.js" ? url : null),
});

// A browser may offer to install the app before the app is there to listen; offline.rs looks here.
addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault();
  globalThis.tartwrightInvitation = event;
});

const shell = document.getElementById("shell");
try {
  // The app mounts itself before this returns, so both changes reach the screen in one frame.
  await start();
  shell?.remove();
  performance.mark("tartwright-ready");
} catch (problem) {
  console.error(problem);
  shell?.setAttribute("aria-busy", "false");
  shell?.classList.add("shell-stopped");
  const note = document.getElementById("shell-note");
  if (note) {
    note.textContent =
      typeof WebAssembly === "object"
        ? "The app could not start. What you saved is untouched. Check the connection and load this page again."
        : "This browser has no WebAssembly, which the app is built on. Please open it in a current browser.";
  }
}
