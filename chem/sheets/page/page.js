"use strict";
(() => {
  const pour = document.querySelector(".pour[data-litres]");
  if (!pour) return;
  const d = pour.dataset, full = +d.litres, units = d.units;
  const cut = (x, n) => { // n figures, no exponent, no zeros at the end
    if (x === 0) return "0";
    const r = +x.toPrecision(n), left = n - 1 - Math.floor(Math.log10(Math.abs(r)));
    return String(+r.toFixed(Math.max(left, 0)));
  };
  const step = (x, s) => x < 10 * s ? cut(x, 2)
    : String(+(Math.round(x / s) * s).toFixed(Math.max(0, -Math.floor(Math.log10(s)))));
  const litres = (l) => {
    const ml = 1000 * l;
    return ml >= 997.5 ? cut(l, 3) + " L" : step(ml, ml < 10 ? 0.1 : ml < 100 ? 1 : 5) + " mL";
  };
  const kilos = (kg) => {
    const g = 1000 * kg;
    if (g >= 997.5) return cut(kg, 3) + " kg";
    return g < 0.1 ? cut(1000 * g, 2) + " mg" : step(g, g < 10 ? 0.1 : 1) + " g";
  };
  const ounces = (l) => {
    const oz = l / 0.0295735295625, tsp = l / 0.00492892159375, gal = l / 3.785411784;
    if (tsp < 1) return litres(l);
    if (oz < 1) {
      const q = Math.round(4 * tsp);
      return Math.floor(q / 4) + ["", " 1/4", " 1/2", " 3/4"][q % 4] + " tsp";
    }
    if (gal < 2) return step(oz, oz < 10 ? 0.1 : oz < 32 ? 0.5 : 1) + " fl oz";
    if (gal >= 10 || Math.abs(gal - Math.round(gal)) < 0.005 * gal) return cut(gal, 3) + " gal";
    const whole = Math.round(oz);
    return Math.floor(whole / 128) + " gal" + (whole % 128 ? ` ${whole % 128} fl oz` : "");
  };
  const pounds = (kg) => {
    const oz = kg / 0.028349523125, lb = kg / 0.45359237;
    if (oz < 0.1) return kilos(kg);
    if (oz < 15.95) return step(oz, 0.1) + " oz wt";
    if (lb >= 10) return cut(lb, 3) + " lb";
    const half = Math.round(2 * oz) / 2, rest = half % 16;
    return Math.floor(half / 16) + " lb" + (rest ? ` ${rest} oz` : "");
  };
  const pair = (us, metric) => units === "us" ? [us, ""] : units === "metric" || us === metric ? [metric, ""] : [us, metric];
  const amount = (value, kind) => kind === "kg" ? pair(pounds(value), kilos(value)) : pair(ounces(value), litres(value));
  window.jarsightAmount = amount;

  const fill = pour.querySelector("[name=fill]"), spray = pour.querySelector("[name=spray]");
  const cells = [...pour.querySelectorAll("[data-amount]")], caption = pour.querySelector("caption");
  const said = caption.textContent, stood = cells.map((c) => c.innerHTML);
  const perTank = +d.fillLitres, perArea = +d.areaM2, m2PerL = +d.m2 / full;
  const show = (value) => {
    const share = value / full, same = Math.abs(share - 1) < 1e-9;
    cells.forEach((cell, i) => {
      if (same) { cell.innerHTML = stood[i]; return; }
      const [big, small] = amount(cell.dataset.amount * share, cell.dataset.kind);
      cell.textContent = big;
      if (small) cell.appendChild(document.createElement("small")).textContent = small;
    });
    caption.textContent = same ? said
      : `For ${cut(value / perTank, 4)} ${d.fillUnit}, ${cut(value * m2PerL / perArea, 4)} ${d.areaUnit}: ${cut(100 * share, 3)} % of the list`;
  };
  const start = () => { fill.value = cut(full / perTank, 4); spray.value = cut(full * m2PerL / perArea, 4); show(full); };
  fill.addEventListener("input", () => {
    const value = fill.value * perTank;
    if (value > 0) { spray.value = cut(value * m2PerL / perArea, 4); show(value); }
  });
  spray.addEventListener("input", () => {
    const value = spray.value * perArea / m2PerL;
    if (value > 0) { fill.value = cut(value / perTank, 4); show(value); }
  });
  pour.querySelector("[name=full]").addEventListener("click", start);
  pour.querySelectorAll("[data-fill]").forEach((button) => button.addEventListener("click", () => {
    fill.value = cut(button.dataset.fill / perTank, 4);
    spray.value = cut(button.dataset.fill * m2PerL / perArea, 4);
    show(+button.dataset.fill);
  }));
  pour.classList.add("live");
  pour.querySelector(".tools").hidden = false;
  start();

  const boxes = [...pour.querySelectorAll("[type=checkbox]")], status = pour.querySelector(".status");
  const clock = (t) => new Date(t).toTimeString().slice(0, 5);
  let at = boxes.map(() => 0);
  try { at = JSON.parse(localStorage.getItem(d.made)) || at; } catch { /* nothing kept */ }
  const tell = () => {
    const last = Math.max(...at), left = at.filter((t) => !t).length;
    const s = Math.floor((Date.now() - last) / 1000), ago = s < 60 ? `${s} s` : `${Math.floor(s / 60)} min`;
    const looks = [[15, "15 min"], [60, "1 h"], [240, "4 h"]].map(([m, w]) => `${clock(last + 6e4 * m)} (${w})`);
    const text = !last ? "" : left ? `${ago} since the last pour, ${left} to go`
      : `All in at ${clock(last)}. Look at ${looks.join(", ")}.`;
    if (status.textContent !== text) status.textContent = text;
  };
  const keep = () => { tell(); try { localStorage.setItem(d.made, JSON.stringify(at)); } catch { /* not kept */ } };
  const puts = boxes.map((box, i) => {
    const put = () => { box.nextElementSibling.textContent = at[i] ? clock(at[i]) : ""; };
    box.checked = !!at[i]; put();
    box.addEventListener("change", () => {
      at[i] = box.checked ? Date.now() : 0; put(); keep();
    });
    return put;
  });
  pour.querySelector("[name=again]").addEventListener("click", () => {
    at = boxes.map(() => 0);
    boxes.forEach((box, i) => { box.checked = false; puts[i](); });
    keep();
  });
  tell();
  setInterval(tell, 1000);
})();
