// Starts the app. Kept tiny: it runs before anything else can.
import start from "./app.js";

// A browser may offer to install the app before the app is there to listen; offline.rs looks here.
addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault();
  globalThis.tartwrightInvitation = event;
});

// What was tapped may be gone with what it did. Who goes by keyboard or by ear then stays with what was around it.
addEventListener("click", (event) => {
  const around = event.composedPath();
  requestAnimationFrame(() => {
    if (around[0].isConnected || document.activeElement !== document.body) return;
    const left = around.find((part) => part.isConnected);
    left.tabIndex = -1;
    left.focus({ preventScroll: true });
  });
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
