// Draw every chart of the page from its inert JSON; refuse to load anything from anywhere.
"use strict";
(function () {
  const shut = {
    load: () => Promise.reject(new Error("closed")),
    sanitize: () => Promise.reject(new Error("closed")),
    http: () => Promise.reject(new Error("closed")),
    file: () => Promise.reject(new Error("closed")),
  };
  for (const data of document.querySelectorAll("script[type='application/json'][data-chart]")) {
    const place = document.getElementById(data.dataset.chart);
    window
      .vegaEmbed(place, JSON.parse(data.textContent), {
        renderer: "svg",
        ast: true,
        actions: false,
        loader: shut,
        tooltip: { theme: "custom" },
      })
      .then(() => {
        place.dataset.drawn = "yes";
        const svg = place.querySelector("svg");
        if (svg) {
          svg.setAttribute("role", "img");
          svg.setAttribute("aria-label", place.dataset.spoken);
        }
      });
  }
  // On paper every fold is open.
  const folds = () => document.querySelectorAll("details");
  let opened = [];
  window.addEventListener("beforeprint", () => {
    opened = [...folds()].filter((fold) => !fold.open);
    opened.forEach((fold) => (fold.open = true));
  });
  window.addEventListener("afterprint", () => opened.forEach((fold) => (fold.open = false)));
})();
