// Answers a scan, and logs a filling, without leaving the page, so that no key of the next scan
// is lost on the way.
// Only forms marked data-stay; without this file they are sent like any other.
(() => {
  "use strict";
  const ONE_ACTION_MS = 1000; // the same code again within this is one scan seen twice

  const field = document.getElementById("scan");
  const form = field && field.form;
  if (!form || !form.hasAttribute("data-stay")) return;

  let lastCode = null;
  let lastAt = -Infinity;
  let queue = Promise.resolve();
  let logging = null; // the filling that is on its way: whether it was taken, and the words for it

  form.addEventListener("submit", (event) => {
    const code = field.value.trim();
    const again = performance.now() - lastAt < ONE_ACTION_MS;
    if (!code && !again) return; // asked for an empty page, which may as well be opened
    event.preventDefault();
    field.value = "";
    if (!code || (again && code === lastCode)) return;
    lastCode = code;
    lastAt = performance.now();
    // One after the other: what stands in the form may come from the answer before.
    const meanwhile = logging;
    queue = queue.then(() => (meanwhile && !meanwhile.taken ? hold(code) : ask(code, meanwhile)));
  });

  document.addEventListener("submit", (event) => {
    const filling = event.target;
    if (!filling.matches("form.bench[data-stay]")) return;
    event.preventDefault();
    if (logging) return; // pressed twice
    // Enter after the one reading goes to the other, if that is still to be typed.
    const at = document.activeElement;
    const open = [...filling.querySelectorAll(".pair input")].find((each) => !each.value);
    if (open && open !== at && at.matches("form.bench[data-stay] .pair input")) {
      open.focus();
      return;
    }
    logging = { taken: false, words: [] };
    field.focus({ preventScroll: true });
    const under = logging;
    const told = say("The filling is on its way. The next cylinder can be scanned already.", "message"); // the first of a day can take seconds
    queue = queue.then(() => log(filling, under)).finally(() => { logging = null; told.remove(); });
  });

  async function log(filling, under) {
    let page;
    let answer;
    try {
      const said = new URLSearchParams(new FormData(filling));
      answer = await fetch(filling.getAttribute("action"), { method: "POST", body: said });
      page = new DOMParser().parseFromString(await answer.text(), "text/html");
    } catch {
      say("Not sent: the program can't be reached. What you typed is still here; press the button again in a moment.", "message error");
      return;
    }
    const theirs = page.querySelector("form.find");
    if (!theirs || theirs.getAttribute("action") !== form.getAttribute("action")) {
      filling.submit(); // signed out, or something else: as without this file, with the same key
      return;
    }
    show(page, theirs);
    under.taken = answer.ok;
    under.words = [...document.querySelectorAll("#status .message")];
    if (answer.ok) history.pushState({ asked: true }, "", answer.url);
  }

  // Scanned while a filling was on its way that was not taken: first that one.
  function hold(code) {
    field.value = code;
    say(`Scanned ${code}. The filling is not logged yet: see to it first. The tag stands in the field at the top.`, "message warning");
  }

  function say(words, look) {
    const said = document.createElement("p");
    said.className = look;
    said.textContent = words;
    document.getElementById("status").append(said);
    return said;
  }

  async function ask(code, meanwhile) {
    const asked = new URLSearchParams(new FormData(form));
    asked.set("q", code);
    const address = `${form.getAttribute("action")}?${asked}`;
    try {
      const answer = await fetch(address);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const theirs = page.querySelector("form.find");
      if (!theirs || theirs.getAttribute("action") !== form.getAttribute("action")) throw new Error("another page");
      show(page, theirs);
      if (meanwhile) document.getElementById("status").prepend(...meanwhile.words);
      history.pushState({ asked: true }, "", answer.url);
    } catch {
      location.assign(address); // signed out, or no connection: as without this file
    }
  }

  function show(page, theirs) {
    for (const id of ["status", "sheet"]) {
      document.getElementById(id).replaceChildren(...page.getElementById(id).childNodes);
    }
    for (const old of form.querySelectorAll("input[type=hidden]")) old.remove();
    form.append(...theirs.querySelectorAll("input[type=hidden]"));
    document.title = page.title;
    say(page.title, "vh"); // a page that opens is read out by its title; so is this one
    scrollTo(0, 0);
    const next = document.querySelector("#sheet [autofocus]"); // a reading, after FILL; or what is wrong
    if (next) next.focus({ preventScroll: true });
    else if (document.querySelector(".problem, [aria-invalid=true]")) field.blur();
    else field.focus({ preventScroll: true });
    document.dispatchEvent(new Event("answered"));
  }

  history.replaceState({ asked: true }, "");
  addEventListener("popstate", (event) => {
    if (event.state && event.state.asked) location.reload();
  });
})();
