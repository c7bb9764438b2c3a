// The bench, made quicker. Every page works without this file.
(() => {
  "use strict";
  const status = document.getElementById("status");

  function say(kind, text) {
    const note = document.createElement("p");
    note.className = `message ${kind}`;
    note.textContent = text;
    status.replaceChildren(note);
  }

  // The minute: a button beside the words, and the seconds left.
  function timers() {
    for (const place of document.querySelectorAll(".timer[data-seconds]:not(.ready)")) {
      place.classList.add("ready");
      const seconds = Number(place.dataset.seconds);
      const button = document.createElement("button");
      const left = document.createElement("span");
      button.type = "button";
      button.className = "quiet";
      button.textContent = `Start ${seconds} seconds`;
      left.className = "left";
      left.setAttribute("role", "timer");
      place.append(button, left);
      let running = 0;
      button.addEventListener("click", () => {
        window.clearInterval(running);
        const end = Date.now() + seconds * 1000;
        button.textContent = "Start again";
        say("", `${seconds} seconds are running.`);
        const show = () => {
          const rest = Math.max(0, Math.ceil((end - Date.now()) / 1000));
          left.textContent = rest ? `${rest} s` : "Time: read now.";
          if (!rest) {
            window.clearInterval(running);
            say("warning", "Time: read now.");
            const field = place.closest("form")?.querySelector("input.reading");
            if (field && place.isConnected) field.focus();
          }
        };
        running = window.setInterval(show, 200);
        show();
      });
    }
  }

  // What could not be sent stays on the page as typed; the same button sends it again.
  function unsent() {
    say("error", "The program can't be reached. What you typed is still here and not yet saved: press the button again in a moment. Earlier steps are kept on the server.");
  }

  document.addEventListener("htmx:sendError", unsent);
  document.addEventListener("htmx:timeout", unsent);
  document.addEventListener("htmx:responseError", () => {
    say("error", "The program could not take this. What you typed is still here; press the button again, or open the page anew.");
  });
  document.addEventListener("htmx:beforeSwap", (event) => {
    // Signed out meanwhile, or on to a page of another kind: open it whole.
    const answered = new URL(event.detail.xhr.responseURL, location.href);
    if (!answered.pathname.startsWith(`${document.body.dataset.home}bench/`)) {
      event.preventDefault();
      location.assign(answered);
    }
  });
  document.addEventListener("htmx:afterSettle", () => {
    timers();
    const first = document.querySelector("#sheet [autofocus]");
    if (first) first.focus({ preventScroll: true });
  });
  timers();
})();
