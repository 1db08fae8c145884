// Starts the app. Kept tiny: it runs before anything else can.

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
  // Not at the head of this file: where it is missing there, nothing of this file runs, and nobody is told.
  const { default: start } = await import("./app.js");
  // The app mounts itself before this returns, so both changes reach the screen in one frame.
  await start();
  shell?.remove();
  performance.mark("tartwright-ready");
  // What stops the app's module leaves a page that looks alive and keeps nothing more.
  const stopped = ({ error, reason }) => {
    if (!(error || reason instanceof WebAssembly.RuntimeError) || document.getElementById("stopped")) return;
    const [note, toast, again] = ["div", "div", "button"].map((name) => document.createElement(name));
    note.id = "stopped";
    note.className = "toasts";
    toast.className = "toast";
    toast.role = "alert";
    again.textContent = "Load this page again";
    toast.append("The app stopped. What you saved is untouched. ", again);
    note.append(toast);
    note.onclick = () => location.reload();
    document.body.append(note);
  };
  addEventListener("error", stopped);
  addEventListener("unhandledrejection", stopped);
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
