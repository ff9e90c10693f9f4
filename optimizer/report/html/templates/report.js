// Gives every figure that has a twin its switch, and draws the twin when the figure comes into view.
// Without scripts nothing of this runs: the drawings stand in the page. Printed are the drawings only.
(function () {
  "use strict";

  var ready = false;

  // The library is run when the first twin is drawn, so that the page itself opens at once.
  function library() {
    if (!ready) {
      var script = document.createElement("script");
      script.textContent = document.getElementById("library").textContent;
      document.head.appendChild(script);
      ready = true;
    }
    return window.Plotly;
  }

  function solid() {
    var canvas = document.createElement("canvas");
    var context = canvas.getContext("webgl2") || canvas.getContext("webgl");
    if (!context) return false;
    var lose = context.getExtension("WEBGL_lose_context");
    if (lose) lose.loseContext();
    return true;
  }

  function prepared(figure) {
    var button = figure.querySelector("button.switch");
    var drawing = figure.querySelector(".static");
    var twin = figure.querySelector(".interactive");
    var chart = JSON.parse(figure.querySelector("script.twin").textContent);
    if (chart.data.some(function (part) { return part.type === "mesh3d"; }) && !solid()) return;
    var drawn = false;

    function show(interactive) {
      if (interactive && !drawn) {
        var height = drawing.getBoundingClientRect().height;
        twin.style.height = Math.max(Math.round(height), (chart.layout.meta || {}).least || 340) + "px";
      }
      button.setAttribute("aria-pressed", String(interactive));
      figure.classList.toggle("live", interactive);
      twin.hidden = !interactive;
      if (!interactive) return Promise.resolve();
      if (drawn) {
        window.Plotly.Plots.resize(twin);
        return Promise.resolve();
      }
      drawn = true;
      return Promise.resolve(library().newPlot(twin, chart.data, chart.layout, chart.config));
    }

    // a twin that cannot be drawn leaves the drawing
    function tried(interactive) {
      try {
        show(interactive).catch(given);
      } catch (problem) {
        given();
      }
    }

    function given() {
      button.hidden = true;
      twin.hidden = true;
      figure.classList.remove("live");
    }

    button.hidden = false;
    button.addEventListener("click", function () {
      seen.unobserve(figure);
      tried(button.getAttribute("aria-pressed") !== "true");
    });
    figure.drawTwin = function () { tried(true); };
    seen.observe(figure);
  }

  var seen = new IntersectionObserver(function (entries) {
    entries.forEach(function (entry) {
      if (!entry.isIntersecting) return;
      seen.unobserve(entry.target);
      entry.target.drawTwin();
    });
  }, { rootMargin: "200px" });

  document.querySelectorAll("figure").forEach(function (figure) {
    if (figure.querySelector("script.twin")) prepared(figure);
  });
})();
