// Draw every chart of the page from its inert JSON; refuse to load anything from anywhere.
// Panels read out values that were computed beforehand; nothing is calculated here.
"use strict";
(function () {
  const shut = {
    load: () => Promise.reject(new Error("closed")),
    sanitize: () => Promise.reject(new Error("closed")),
    http: () => Promise.reject(new Error("closed")),
    file: () => Promise.reject(new Error("closed")),
  };
  const all = (selector) => [...document.querySelectorAll(selector)];
  const parsed = (element) => JSON.parse(element.textContent);
  const locale = all("script[data-locale]").map(parsed)[0];
  // Two legends stand below each other: side by side they are wider than a phone. The grammar's
  // schema has no word for it, so that it is the engine's setting and no part of a picture.
  const below = { bottom: { direction: "vertical", anchor: "start", margin: 6 } };

  function draw(data) {
    const place = document.getElementById(data.dataset.chart);
    return window
      .vegaEmbed(place, parsed(data), {
        renderer: "svg",
        ast: true,
        actions: false,
        loader: shut,
        formatLocale: locale.number,
        timeFormatLocale: locale.time,
        tooltip: { theme: "custom" },
        config: { legend: { layout: below } },
      })
      .then(({ view }) => {
        const svg = place.querySelector("svg");
        svg.setAttribute("role", "img");
        svg.setAttribute("aria-label", place.dataset.spoken);
        place.dataset.drawn = "yes";
        return [place.id, view];
      });
  }

  // One panel: a choice, sliders over the grid's positions, one read-out, and the charts below it.
  function operate(panel, values, views) {
    const choice = panel.querySelector("[data-choice]");
    const sliders = [...panel.querySelectorAll("[data-axis]")];
    const reading = panel.querySelector("[data-reading]");
    const at = (grid, where) => {
      let k = 0;
      grid.axes.forEach((axis, i) => (k = k * axis.labels.length + where[i]));
      return grid.values.slice(3 * k, 3 * k + 3);
    };
    const shown = (value) => value.toFixed(0);
    // A chance is never read out as none.
    const chance = (value) => (value < 0.5 ? "< 1" : shown(value));
    const show = () => {
      const grid = values.grids[choice.value];
      const where = sliders.map((row) => Number(row.querySelector("input").value));
      sliders.forEach((row, i) => {
        const label = grid.axes[i].labels[where[i]];
        row.querySelector("output").textContent = label;
        row.querySelector("input").setAttribute("aria-valuetext", label);
      });
      const [lower, median, upper] = at(grid, where);
      reading.textContent = values.reading
        .replace("{median}", chance(median))
        .replace("{lower}", shown(lower))
        .replace("{upper}", shown(upper));
      values.charts.forEach((chart) => {
        const view = views[chart.name];
        const axis = grid.axes[chart.axis];
        document.getElementById(chart.name).hidden = axis.at.length < 2;
        const curve = axis.at.map((x, k) => {
          const here = where.slice();
          here[chart.axis] = k;
          const [low, middle, high] = at(grid, here);
          return { x, lower: low, median: middle, upper: high };
        });
        view.data("curve", curve).data("here", [curve[where[chart.axis]]]);
        if (grid.dots) view.data("dots", grid.dots[chart.axis]);
        view.runAsync();
      });
    };
    const choose = () => {
      values.grids[choice.value].axes.forEach((axis, i) => {
        const input = sliders[i].querySelector("input");
        input.max = axis.labels.length - 1;
        input.value = axis.start;
        sliders[i].hidden = axis.labels.length < 2;
      });
      show();
    };
    choice.addEventListener("change", choose);
    sliders.forEach((row) => row.querySelector("input").addEventListener("input", show));
    choose();
    panel.dataset.ready = "yes";
  }

  let views = {};
  Promise.all(all("script[data-chart]").map(draw)).then((pairs) => {
    views = Object.fromEntries(pairs);
    for (const data of all("script[data-values]")) {
      const panel = document.querySelector(`[data-panel="${data.dataset.values}"]`);
      operate(panel, parsed(data), views);
    }
  });

  // A picture behind a fold has no width until the fold is opened.
  for (const fold of all("details[data-folded]")) {
    fold.addEventListener("toggle", () => window.dispatchEvent(new Event("resize")));
  }

  // On paper every fold is open. A picture is drawn for the sheet, whatever the screen was: as wide
  // as its text, or half as wide where a section has several, and flatter, so that more of what
  // belongs together stands on one sheet. Pixels are those of a drawing that the sheet scales.
  const SHEET_PX = 940;
  const HALF_PX = 460;
  const FLATTER = 0.85;
  let opened = [];
  const heights = {};
  window.addEventListener("beforeprint", () => {
    opened = all("details").filter((fold) => !fold.open);
    opened.forEach((fold) => (fold.open = true));
    for (const [name, view] of Object.entries(views)) {
      const isHalf = document.getElementById(name).closest(".several");
      heights[name] ??= view.height();
      view.width(isHalf ? HALF_PX : SHEET_PX).height(FLATTER * heights[name]).run();
    }
    document.body.classList.add("printing");
  });
  window.addEventListener("afterprint", () => {
    opened.forEach((fold) => (fold.open = false));
    document.body.classList.remove("printing");
    for (const [name, view] of Object.entries(views)) view.height(heights[name]).run();
    window.dispatchEvent(new Event("resize"));
  });
})();
