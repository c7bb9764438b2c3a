// The scan field, made quicker. Every page works without this file.
// A scanner is a keyboard that types fast: at least 4 characters, or 3 with a letter first (S17 is a
// tag, 200 may be a reading), on average at most 35 ms apart, then Enter or Tab. No person does, so nothing here can be set off by typing.
(() => {
  "use strict";
  const LONGEST_MEAN_GAP_MS = 35;
  const PAUSE_MS = 100; // after this a new burst begins; below it is a busy computer
  const A_TAG = /^(.{4,}|\p{L}..)$/u;
  const BETWEEN_PAGES_MS = 250; // keys so soon after those on the page before belong to the same scan
  const LAST_KEY = "scan-last-key";

  // A page that takes one scan after the other has a field of its own for them.
  const field = document.querySelector("[data-scans]") || document.getElementById("scan");
  const status = document.getElementById("status");
  if (!field) return;
  const stays = field.form.hasAttribute("data-stay"); // answered by stay.js on this same page

  const problem = document.querySelector(".problem, [aria-invalid=true]");
  // Half-filled work that a scan would leave: not the form that the scan itself is sent with.
  const elsewhere = (form) => form && form !== field.form && form.matches("form.bench");
  const refused = () => document.querySelector(".problem, [aria-invalid=true]")
    && [...document.forms].some((form) => elsewhere(form) && form.querySelector("input:not([type=hidden]), select, textarea"));
  // A fragment that names nothing here came along from the form before and does not count.
  if (!problem && !document.querySelector("[autofocus], :target")) {
    field.focus({ preventScroll: true });
  }

  // A refused form stands where it was sent; gone back to, it is asked for and not sent again.
  if (document.querySelector(".problem")) history.replaceState(history.state, "");

  let typed = "";
  let first = 0;
  let last = -Infinity;
  let before = ""; // what the focused control held when the burst began,
  let began = null; // which that was,
  let around = null; // and what of it stood before and behind the place of the burst
  let sent = false;
  let unsaved = Boolean(refused());
  let unsavedBefore = unsaved; // as it was when the burst began
  let lastElsewhere = Number(sessionStorage.getItem(LAST_KEY));

  // A scan that began while the page before was leaving has lost its first characters: the rest
  // of it could be another item's tag, so it is dropped, and only a whole scan counts.
  document.addEventListener("keydown", (event) => {
    if (sent) {
      if (event.key.length === 1) sessionStorage.setItem(LAST_KEY, Date.now());
    } else if (Date.now() - lastElsewhere <= BETWEEN_PAGES_MS) {
      lastElsewhere = Date.now();
      event.preventDefault();
      event.stopImmediatePropagation();
    }
  }, true);
  field.form.addEventListener("submit", () => { sent = !stays; });
  document.addEventListener("answered", () => {
    unsaved = Boolean(refused());
  });

  document.addEventListener("input", (event) => {
    if (elsewhere(event.target.form)) unsaved = true;
  });
  window.addEventListener("pageshow", () => { sent = false; });

  document.addEventListener("keydown", (event) => {
    const at = event.target;
    const now = event.timeStamp;
    if (now - last > PAUSE_MS) typed = "";

    if (event.key === "Enter" || event.key === "Tab") {
      const code = typed;
      typed = "";
      if (sent && !code && now - last <= PAUSE_MS) event.preventDefault(); // the line feed after a carriage return
      if (!A_TAG.test(code) || (now - first) / code.length > LONGEST_MEAN_GAP_MS) return;
      if (at === field) send(event, scanned(at, code));
      else if (at.matches("textarea, [contenteditable]")) return;
      else if (at.matches("[data-takes-scan]")) at.value = scanned(at, code);
      else if (at.closest("form.bench")) keepOut(event, code);
      else if (at.matches("input, select")) return;
      else if (unsaved) hold(event, code);
      else send(event, code);
      return;
    }

    const shortcut = (event.ctrlKey || event.metaKey) && !event.getModifierState("AltGraph");
    if (event.key.length !== 1 || shortcut) return;
    if (!typed) {
      first = now;
      before = at.value;
      began = at;
      around = typeof at.selectionStart === "number" ? [at.selectionStart, before.length - at.selectionEnd] : null;
      unsavedBefore = unsaved;
    } else if (event.key === " " && at.matches(":not(input, select, textarea), [type=radio], [type=checkbox]")) {
      event.preventDefault(); // a space inside a scan must not press what has the focus
    }
    typed += event.key;
    last = now;
  });

  // What a burst typed into a field, without what stood there before it: a scan is a whole code,
  // and takes the place of one that was refused. Where the focus moved meanwhile, the keys tell.
  function scanned(at, code) {
    return around && at === began ? at.value.slice(around[0], at.value.length - around[1]) : code;
  }

  function send(event, code) {
    event.preventDefault();
    if (sent) return; // the same code once more, before the page has changed
    field.value = code;
    field.form.requestSubmit();
    sent = !stays;
  }

  // A scan that lands in a service form: the reading stays as it was and the form is not sent.
  function keepOut(event, code) {
    if (event.target.matches("input, select")) event.target.value = before;
    unsaved = unsavedBefore;
    if ((stays || field.matches("[data-scans]")) && !unsaved) send(event, code);
    else hold(event, code);
  }

  // Half-filled work on the page is not left because something was scanned.
  function hold(event, code) {
    event.preventDefault();
    field.value = code;
    const note = document.createElement("p");
    note.className = "message warning";
    const where = field.id === "scan" ? `The tag stands in the field at the top: ${field.form.querySelector("button").textContent.trim()} opens it` : "The tag stands in the field for the next item: it opens that one";
    note.textContent = `Scanned ${code}. Nothing in this form was changed. ${where}, and leaves what is not yet saved here.`;
    status.replaceChildren(note);
  }
})();
