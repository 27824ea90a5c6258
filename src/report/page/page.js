"use strict";
// Turns the still spectra into charts that can be zoomed, moved and stepped through line by line. Without this script the
// still ones stay.
(function () {
  const all = JSON.parse(document.getElementById("drawn").textContent);
  const charts = [];
  // Axes and grid are all that is wanted; the legend would set styles that the page's policy forbids.
  Dygraph.PLUGINS = [Dygraph.Plugins.Axes, Dygraph.Plugins.Grid];

  function colour(name) {
    return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  }

  function number(value, digits) {
    return value.toFixed(digits);
  }

  // Lines below the curve, as in the still picture: full ones found, dotted ones looked for, dashed ones healthy.
  function drawMarks(context, area, chart, drawn) {
    function upright(order, dashes, ink, from) {
      const x = chart.toDomXCoord(order);
      if (x < area.x || x > area.x + area.w) return null;
      context.setLineDash(dashes);
      context.strokeStyle = ink;
      context.lineWidth = 1.5;
      context.beginPath();
      context.moveTo(x, area.y + from);
      context.lineTo(x, area.y + area.h);
      context.stroke();
      return x;
    }
    context.save();
    drawn.healthy.forEach(function (mark) { upright(mark.order, [6, 3], colour("--rule"), 0); });
    context.font = "bold 14px system-ui, sans-serif";
    context.textAlign = "center";
    let last = -100, raised = false;
    drawn.marks.forEach(function (mark, i) {
      const x = upright(mark.order, mark.found ? [] : [2, 4], colour("--mark"), mark.found ? 34 : 0);
      if (x === null || !mark.found) return;
      raised = x - last < 22 && !raised;
      last = x;
      context.fillStyle = colour("--mark");
      context.fillText(String(i + 1), x, area.y + (raised ? 14 : 30));
    });
    context.restore();
  }

  function make(box) {
    const drawn = all[box.dataset.chart];
    const live = box.parentElement, says = live.querySelector(".says"), steps = live.querySelector(".steps");
    const rows = drawn.db.map(function (db, i) { return [drawn.first + i * drawn.step, db]; });
    const whole = [0, rows[rows.length - 1][0] + drawn.step];
    const top = Math.max(10, Math.max.apply(null, drawn.db)) * 1.25;

    function at(order, db) {
      return number(order, 2) + " per turn of the " + drawn.turn + ", " + number(order * drawn.rate, 1) + " Hz, " + number(db, 1) + " dB";
    }

    const chart = new Dygraph(box, rows, {
      labels: ["order", "dB"],
      legend: "never",
      dateWindow: whole.slice(),
      valueRange: [-3, top],
      color: colour("--fill"),
      strokeWidth: 1.3,
      axisLineColor: colour("--ink"),
      gridLineColor: colour("--faint"),
      axisLabelFontSize: 14,
      axisLabelWidth: 44,
      highlightCircleSize: 4,
      animatedZooms: false,
      // Sideways alone: a drag up and down on a phone scrolls the page.
      xRangePad: 0,
      underlayCallback: function (context, area, of) { drawMarks(context, area, of, drawn); },
      highlightCallback: function (event, x, points) {
        live.dataset.pointed = at(x, points[0].yval);
        pointed.textContent = live.dataset.pointed;
      },
      unhighlightCallback: function () { pointed.textContent = ""; }
    });
    box.style.touchAction = "pan-y pinch-zoom";

    // What the pointer is on: seen, not read aloud at every step.
    const pointed = document.createElement("p");
    pointed.className = "pointed";
    pointed.setAttribute("aria-hidden", "true");
    live.insertBefore(pointed, steps);

    function show(low, high) {
      const width = Math.min(high - low, whole[1] - whole[0]);
      const from = Math.max(whole[0], Math.min(low, whole[1] - width));
      chart.updateOptions({ dateWindow: [from, from + width] });
    }
    function zoom(factor) {
      const seen = chart.xAxisRange(), middle = (seen[0] + seen[1]) / 2, half = Math.max(20 * drawn.step, (seen[1] - seen[0]) / 2 * factor);
      show(middle - half, middle + half);
    }
    function move(share) {
      const seen = chart.xAxisRange(), by = (seen[1] - seen[0]) * share;
      show(seen[0] + by, seen[1] + by);
    }

    let line = -1;
    function step(by) {
      const count = drawn.marks.length;
      line = line < 0 && by < 0 ? count - 1 : (line + by + count) % count;
      const mark = drawn.marks[line], half = Math.max(whole[1] / 16, 30 * drawn.step);
      show(mark.order - half, mark.order + half);
      says.textContent = "Line " + (line + 1) + " of " + count + ", " + mark.words + ": " + number(mark.order, 2) + " per turn of the " +
        drawn.turn + ", " + number(mark.hz, 1) + " Hz, " + (mark.found ? "stands out" : "not found");
    }
    function everything() {
      line = -1;
      says.textContent = "";
      show(whole[0], whole[1]);
    }

    function button(words, act) {
      const made = document.createElement("button");
      made.type = "button";
      made.textContent = words;
      made.addEventListener("click", act);
      steps.appendChild(made);
    }
    if (drawn.marks.length) {
      button("Line before", function () { step(-1); });
      button("Next line", function () { step(1); });
    }
    button("Closer", function () { zoom(0.5); });
    button("Wider", function () { zoom(2); });
    button("All", everything);

    const keys = {
      ArrowLeft: function () { move(-0.25); }, ArrowRight: function () { move(0.25); },
      "+": function () { zoom(0.5); }, "=": function () { zoom(0.5); }, "-": function () { zoom(2); }, "0": everything
    };
    box.addEventListener("keydown", function (event) {
      if (event.ctrlKey || event.metaKey || event.altKey || !keys[event.key]) return;
      event.preventDefault();
      keys[event.key]();
    });
    charts.push(chart);
  }

  // Long tables start shut on a phone, and are open on paper.
  const tables = document.querySelectorAll("details.long");
  function open(whether) {
    tables.forEach(function (table) { table.open = whether; });
  }
  if (window.matchMedia("(max-width: 40rem)").matches) open(false);
  window.addEventListener("beforeprint", function () { open(true); });

  document.documentElement.classList.add("scripted");
  document.querySelectorAll("[data-chart]").forEach(make);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", function () {
    charts.forEach(function (chart) {
      chart.updateOptions({ color: colour("--fill"), axisLineColor: colour("--ink"), gridLineColor: colour("--faint") });
    });
  });
})();
