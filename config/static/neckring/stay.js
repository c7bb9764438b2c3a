// Answers a scan without leaving the page, so that no key of the next scan is lost on the way.
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
    queue = queue.then(() => ask(code));
  });

  async function ask(code) {
    const asked = new URLSearchParams(new FormData(form));
    asked.set("q", code);
    const address = `${form.getAttribute("action")}?${asked}`;
    try {
      const answer = await fetch(address);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const theirs = page.querySelector("form.find");
      if (!theirs || theirs.getAttribute("action") !== form.getAttribute("action")) throw new Error("another page");
      show(page, theirs);
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
    tell(page.title);
    scrollTo(0, 0);
    field.focus({ preventScroll: true });
    document.dispatchEvent(new Event("answered"));
  }

  // A page that opens is read out by its title; so is this one.
  function tell(title) {
    const said = document.createElement("p");
    said.className = "vh";
    said.textContent = title;
    document.getElementById("status").append(said);
  }

  history.replaceState({ asked: true }, "");
  addEventListener("popstate", (event) => {
    if (event.state && event.state.asked) location.reload();
  });
})();
