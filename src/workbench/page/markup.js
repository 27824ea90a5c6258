// Builds elements. Text is only ever set as text.

export function el(tag, properties, ...children) {
  const made = document.createElement(tag);
  put(made, properties, children);
  return made;
}

export function drawn(tag, attributes, ...children) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  Object.keys(attributes).forEach(function (name) { made.setAttribute(name, attributes[name]); });
  made.append(...children);
  return made;
}

function put(made, properties, children) {
  Object.keys(properties || {}).forEach(function (name) {
    const value = properties[name];
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name.includes("-") || name === "for" || name === "role" || name === "scope") made.setAttribute(name, value);
    else made[name] = value;
  });
  made.append(...children.filter(function (child) { return child !== null && child !== undefined; }));
}

export function show(box, ...children) {
  box.replaceChildren(...children.filter(function (child) { return child !== null && child !== undefined; }));
}

export const byId = function (id) { return document.getElementById(id); };

// A button that can't be pressed twice, and says in the page what went wrong.
export function button(words, act, kind) {
  const made = el("button", { type: "button", textContent: words, className: kind || "" });
  made.addEventListener("click", function () { guarded(act, made); });
  return made;
}

export async function guarded(act, pressed) {
  if (pressed) pressed.disabled = true;
  trouble("");
  try {
    await act();
  } catch (wrong) {
    trouble(wrong.message);
  } finally {
    if (pressed) pressed.disabled = false;
  }
}

export function trouble(sentence) {
  const box = byId("trouble");
  box.textContent = sentence;
  box.hidden = !sentence;
}

export function choices(select, pairs, chosen) {
  show(select, ...pairs.map(function (pair) {
    return el("option", { value: pair[0], textContent: pair[1], selected: pair[0] === chosen });
  }));
}

// A share of one as the reports print it.
export function percent(p) {
  if (p > 0 && p < 0.005) return "<1 %";
  if (p < 1 && p >= 0.995) return ">99 %";
  return Math.round(100 * p) + " %";
}

export function bar(share) {
  const width = Math.max(0, Math.min(100, 100 * share)).toFixed(2) + "%";
  return drawn("svg", { "class": "bar", "aria-hidden": "true" },
    drawn("rect", { "class": "frame", width: "100%", height: "100%" }), drawn("rect", { "class": "length", width: width, height: "100%" }));
}

// A table that a phone can scroll sideways. Cells: text or elements; the first is the row's heading.
export function table(caption, head, rows) {
  const line = function (cells) {
    return el("tr", {}, ...cells.map(function (cell, i) {
      const made = el(i === 0 ? "th" : "td", {}, cell);
      if (i === 0) made.scope = "row";
      return made;
    }));
  };
  return el("div", {},
    el("p", { className: "caption", textContent: caption }),
    el("div", { className: "wide", role: "region", "aria-label": caption, tabIndex: 0 },
      el("table", {}, el("thead", {}, el("tr", {}, ...head.map(function (h) { return el("th", { scope: "col", textContent: h }); }))),
        el("tbody", {}, ...rows.map(line)))));
}
