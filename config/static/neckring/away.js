// Says two minutes before a session ends that it will, and lets who is there stay.
// Every page works without this file; then the sign-in page says what happened.
(() => {
  "use strict";
  const WARNING_MS = 2 * 60 * 1000;
  const KEPT = "neckring-seen"; // when any page of this browser last asked the server
  const { home, awaySeconds, sessionSeconds } = document.body.dataset;
  const status = document.getElementById("status");
  if (!awaySeconds || !status) return;

  const opened = Date.now();
  const atTheLatest = opened + Number(sessionSeconds) * 1000;
  const seen = (at) => {
    try {
      if (at) localStorage.setItem(KEPT, String(at));
      return Math.max(opened, Number(localStorage.getItem(KEPT)) || 0);
    } catch {
      return opened; // storage may be forbidden; then this page speaks for itself
    }
  };
  const ends = () => Math.min(seen() + Number(awaySeconds) * 1000, atTheLatest);
  let warning = null;

  const stay = async () => {
    const answer = await fetch(`${home}types/`, { method: "HEAD", redirect: "manual" }).catch(() => null);
    if (answer && answer.type !== "opaqueredirect") {
      seen(Date.now());
      look();
    } else {
      warning.firstChild.textContent = "The session could not be kept. Sign in again in another window. ";
    }
  };

  const warn = () => {
    if (warning) return;
    warning = document.createElement("p");
    warning.className = "message warning";
    warning.append("You will be signed out in 2 minutes. ");
    if (ends() < atTheLatest) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "quiet";
      button.textContent = "Stay signed in";
      button.addEventListener("click", stay);
      warning.append(button);
    }
    status.append(warning);
  };

  const further = () => document.querySelector("input[name=kept_for]")
    ? "press the button as always, then sign in; it is kept for you."
    : "copy what you need before you sign in again.";

  const look = () => {
    const left = ends() - Date.now();
    if (left > WARNING_MS && warning) {
      warning.remove();
      warning = null;
    }
    if (left <= WARNING_MS && left > 0) warn();
    if (left <= 0 && warning) warning.textContent = `You are signed out by now. What you typed is still here: ${further()}`;
    if (left > 0) setTimeout(look, left > WARNING_MS ? Math.min(left - WARNING_MS, 30000) : left);
  };

  document.addEventListener("answered", () => { seen(Date.now()); });
  seen(opened);
  look();
})();
