(function () {
  "use strict";
  const data = JSON.parse(document.getElementById("live-data").textContent);
  const byId = (id) => document.getElementById(id);
  const vswr = (m) => (m >= 1 ? Infinity : (1 + m) / (1 - m));

  function ratio(v) {
    if (v >= 1000) return ">1000";
    return v.toFixed(v < 10 ? 2 : v < 30 ? 1 : 0);
  }
  function outward(v, up) {
    if (v === Infinity) return v;
    const scale = v < 10 ? 100 : v < 30 ? 10 : 1;
    return (up ? Math.ceil(v * scale - 1e-6) : Math.floor(v * scale + 1e-6)) / scale;
  }
  // Return loss of a magnitude in tenths of a decibel, rounded the way asked.
  const tenths = (m, round) => { const db = m > 0 ? -20 * Math.log10(Math.min(m, 1)) : 99; return db > 60 ? ">60" : (round(10 * db) / 10).toFixed(1); };
  const figure = (m) => (data.in_db ? tenths(m, Math.round) + " dB" : ratio(vswr(m)));
  const kind = data.in_db ? "return loss" : "VSWR";
  function range(low, high) {
    const perfect = data.in_db ? low < 0.001 : vswr(low) < 1.005, total = high >= 1;
    if (perfect && total) return "anything";
    const worst = data.in_db ? tenths(high, (v) => Math.floor(v + 1e-6)) : ratio(outward(vswr(high), true));
    const best = data.in_db ? tenths(low, (v) => Math.ceil(v - 1e-6)) : ratio(outward(vswr(low), false));
    if (!data.in_db) return total ? best + " or more" : best + " to " + worst;
    return total ? best + " dB or less" : perfect ? worst + " dB or more" : worst + " to " + best + " dB";
  }
  const share = (whole) => (whole === null ? NaN : whole / data.scale);
  const megahertz = (f) => (f >= 1000 ? +(f / 1000).toPrecision(6) + " GHz" : f + " MHz");

  // Figures at one true magnitude and one column of the grid, straight between its rows.
  const names = ["reading", "low", "high", "bound_low", "bound_high"];
  const whole = data.true;
  function at(magnitude, column) {
    const m = Math.min(Math.max(magnitude, 0), 1) * data.scale;
    let row = 0;
    while (row < whole.length - 2 && whole[row + 1] <= m) row += 1;
    const part = Math.min(Math.max((m - whole[row]) / (whole[row + 1] - whole[row]), 0), 1);
    const found = { true: m / data.scale, freq: data.freq_mhz[column], ceiling: share(data.ceiling[column]) };
    for (const name of names) {
      const a = data[name][row][column], b = data[name][row + 1][column];
      found[name] = (a + (b - a) * part) / data.scale;
    }
    return found;
  }
  function sentence(p) {
    return "An antenna of true " + kind + " " + figure(p.true) + " at " + megahertz(p.freq) + " reads " +
      figure(p.reading) + "; interval " + range(p.low, p.high) + ", guaranteed bound " +
      range(p.bound_low, p.bound_high) + ". Nothing connected shows " + figure(p.ceiling) + ".";
  }

  // A chart drawn by the page, with the places of its axes.
  function chart(id) {
    const title = byId("plot-" + id + "-title");
    if (!title) return null;
    const svg = title.parentNode;
    const numbers = (name) => svg.getAttribute(name).split(" ").map(Number);
    const [left, top, width, height] = numbers("data-frame");
    const [x0, x1] = numbers("data-x"), [y0, y1] = numbers("data-y");
    const px = (x) => left + ((x - x0) / (x1 - x0)) * width;
    const py = (y) => top + height - ((Math.min(y, 1) - y0) / (y1 - y0)) * height;
    const cursor = svg.querySelector(".cursor");
    return {
      svg: svg,
      xAt: (event) => {
        const box = svg.getBoundingClientRect();
        const inside = ((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width;
        return x0 + Math.min(Math.max((inside - left) / width, 0), 1) * (x1 - x0);
      },
      point: (x, y) => {
        const shown = Number.isFinite(y);
        cursor.setAttribute("visibility", shown ? "visible" : "hidden");
        if (!shown) return;
        cursor.querySelector("path").setAttribute("d", "M" + px(x) + " " + top + "V" + (top + height));
        cursor.querySelector("circle").setAttribute("cx", px(x));
        cursor.querySelector("circle").setAttribute("cy", py(y));
      },
      draw: (xs, lines, bands, levels) => {
        const path = (values, back) => {
          const places = values.map((y, i) => px(xs[i]).toFixed(1) + " " + py(y).toFixed(1));
          return (back ? places.reverse() : places).join("L");
        };
        const set = (query, d) => { const e = svg.querySelector(query); if (e) e.setAttribute("d", d); };
        for (const role in lines) set('[data-line="' + role + '"]', "M" + path(lines[role]));
        for (const role in bands) {
          set('[data-band="' + role + '"]', "M" + path(bands[role][0]) + "L" + path(bands[role][1], true) + "Z");
        }
        for (const role in levels) set('[data-level="' + role + '"]', "M" + left + " " + py(levels[role]) + "H" + (left + width));
        labels(svg, top, top + height, (role) => {
          if (role in levels) return py(levels[role]);
          const line = lines[role] || (bands[role] && bands[role][1]);
          return line ? py(line[line.length - 1]) : null;
        });
      },
    };
  }
  // Names stay beside what they name, a line apart.
  function labels(svg, top, bottom, place) {
    const found = [...svg.querySelectorAll("[data-label]")]
      .map((e) => ({ e: e, y: place(e.getAttribute("data-label")) })).filter((each) => each.y !== null);
    found.sort((a, b) => a.y - b.y);
    let last = top - 9;
    for (const each of found) { each.y = Math.max(each.y, last + 13); last = each.y; }
    let next = bottom + 9;
    for (const each of found.reverse()) { each.y = Math.min(each.y, next - 13); next = each.y; each.e.setAttribute("y", each.y + 4); }
  }
  function nearest(values, x) {
    let best = 0;
    values.forEach((v, i) => { if (Math.abs(v - x) < Math.abs(values[best] - x)) best = i; });
    return best;
  }
  function follow(plot, show, leave) {
    for (const name of ["pointermove", "pointerdown"]) plot.svg.addEventListener(name, (event) => show(plot.xAt(event)));
    plot.svg.addEventListener("pointerleave", leave);
  }

  const slider = byId("true"), freq = byId("freq"), text = byId("reading-text");
  const against = chart("true"), over = chart("frequency");
  const grid = whole.map(share);
  let moved = false;
  // Until the slider is moved its value is the very one that the verdict names.
  const magnitude = () => (moved ? Number(slider.value) / Number(slider.max) : share(data.start.true));

  function redraw() {
    const column = Number(freq.value), now = at(magnitude(), column);
    text.textContent = sentence(now);
    slider.setAttribute("aria-valuetext", kind + " " + figure(now.true));
    freq.setAttribute("aria-valuetext", megahertz(now.freq));
    byId("at-freq").textContent = megahertz(now.freq);
    byId("at-true").textContent = figure(now.true);
    const points = grid.map((m) => at(m, column));
    const row = data.freq_mhz.map((f, i) => at(now.true, i));
    const all = (list, name) => list.map((p) => p[name]);
    const bands = (list) => ({ bound: [all(list, "bound_low"), all(list, "bound_high")], interval: [all(list, "low"), all(list, "high")] });
    against.draw(grid, { reading: all(points, "reading") }, bands(points), { ceiling: now.ceiling });
    over.draw(data.freq_mhz.map((f) => f * 1e6), { reading: all(row, "reading"), ceiling: all(row, "ceiling") }, bands(row), {});
    rest();
  }
  function rest() {
    const now = at(magnitude(), Number(freq.value));
    against.point(now.true, now.reading);
    over.point(now.freq * 1e6, now.reading);
    text.textContent = sentence(now);
  }
  slider.addEventListener("input", () => { moved = true; redraw(); });
  freq.addEventListener("input", redraw);
  follow(against, (x) => { const p = at(x, Number(freq.value)); against.point(p.true, p.reading); text.textContent = sentence(p); }, rest);
  follow(over, (x) => { const p = at(magnitude(), nearest(data.freq_mhz, x / 1e6)); over.point(p.freq * 1e6, p.reading); text.textContent = sentence(p); }, rest);

  const sweep = data.sweep, measured = sweep && chart("sweep");
  if (measured) {
    const point = byId("point"), line = byId("point-text");
    const show = (i) => {
      const m = (name) => share(sweep[name][i]);
      const known = Number.isFinite(m("low"));
      const words = megahertz(sweep.freq_mhz[i]) + ": the screen reads " + figure(m("reading")) + ", the antenna is " +
        (known ? figure(m("true")) + "; interval " + range(m("low"), m("high")) + ", guaranteed bound " +
          sweep.bound[i] : "none that is passive") + ". Verdict: " + sweep.verdict[i] + ".";
      line.textContent = words;
      point.setAttribute("aria-valuetext", megahertz(sweep.freq_mhz[i]));
      measured.point(sweep.freq_mhz[i] * 1e6, known ? m("true") : m("reading"));
    };
    const back = () => show(Number(point.value));
    point.value = sweep.start;
    point.addEventListener("input", back);
    follow(measured, (x) => show(nearest(sweep.freq_mhz, x / 1e6)), back);
    back();
  }
  slider.value = Math.round(share(data.start.true) * Number(slider.max));
  freq.value = data.start.column;
  for (const each of document.querySelectorAll(".live")) each.hidden = false;
  redraw();
})();
