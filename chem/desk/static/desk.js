"use strict";
// The desk works without this: it only saves presses. While a slider moves, one request is under
// way and the newest place waits; at rest the page is the one its address names.
(() => {
  const form = document.getElementById("mix");
  if (!form) return;
  const strip = document.getElementById("strip");
  const stack = document.getElementById("stack");
  let busy = false, waiting = null, seen = 0;

  const address = () => {
    const data = new URLSearchParams(new FormData(form));
    for (const key of ["jug", "show", "up", "down", "out", "add", "undo"]) data.delete(key);
    return data;
  };
  const put = (told) => {
    strip.innerHTML = told.strip;
    stack.innerHTML = told.stack;
    told.amounts.forEach((text, i) => {
      const out = form.querySelector(`[data-amount="${i}"]`);
      if (out) out.textContent = text;
    });
    form.querySelectorAll("[data-wrong]").forEach((p) => { p.textContent = told.wrong[p.dataset.wrong] ?? ""; });
    document.querySelectorAll("[data-door]").forEach((a) => { a.href = `/${a.dataset.door}?${told.query}`; });
    form.elements.undo.disabled = !told.undo;
    const save = document.getElementById("save");
    if (save) save.action = `/save?${told.query}`;
  };
  const ask = async (moving) => {
    if (busy) { waiting = moving; return; }
    busy = true;
    const mine = ++seen;
    document.body.classList.toggle("moving", moving);
    try {
      const answer = await fetch(`/move?${address()}${moving ? "&moving=1" : ""}`, { headers: { Accept: "application/json" } });
      if (answer.ok && mine === seen) {
        const told = await answer.json();
        put(told);
        if (!moving && waiting === null) history.pushState(null, "", `/mix?${told.query}`);
      } else if (answer.status === 503) { waiting = waiting ?? moving; }
    } catch (error) {
      strip.firstElementChild.textContent = "The desk does not answer: is it still running?";
    }
    busy = false;
    if (waiting !== null) { const next = waiting; waiting = null; ask(next); }
    else document.body.classList.remove("moving");
  };

  form.querySelectorAll(".slide").forEach((slide) => {
    const box = document.getElementById(slide.dataset.for);
    slide.hidden = false;
    slide.addEventListener("input", () => { box.value = `${slide.value} ${slide.dataset.unit}`; ask(true); });
    slide.addEventListener("change", () => ask(false));
    box.addEventListener("change", () => { const figure = parseFloat(box.value); if (figure >= 0) slide.value = figure; });
  });
  form.querySelectorAll("input:not(.slide):not([type=hidden]), select:not(#add)").forEach((box) => {
    box.addEventListener("change", () => ask(false));
  });
  window.addEventListener("popstate", () => location.reload());
})();
