// Sliders, fields and buttons as the browser has them; Python says which, and what comes of them.
const make = (tag, props = {}, ...inside) => {
  const node = Object.assign(document.createElement(tag), props);
  node.append(...inside);
  return node;
};
let pages = 0;

function render({ model, el }) {
  const own = `controls-${++pages}-`, waiting = {};
  let fields = {}, places = {};

  function send(key, value) {
    model.set("values", { ...model.get("values"), [key]: value });
    model.save_changes();
  }

  const kinds = {
    // the value stands on a line of its own that is as high as its longest: nothing moves under the finger
    slider({ key, label, words, now }) {
      const id = own + key, last = words.length - 1, output = make("output", { htmlFor: id });
      const longest = words.reduce((a, b) => (b.length > a.length ? b : a)) + " (as now)";
      const input = make("input", { type: "range", id, min: 0, max: last, step: 1 });
      const mark = make("span", { className: "mark" });
      output.setAttribute("aria-live", "off");
      mark.style.setProperty("--at", now / last);
      const show = (at) => {
        input.value = at;
        output.textContent = words[input.value] + (Number(input.value) === now ? " (as now)" : "");
        input.setAttribute("aria-valuetext", output.textContent);
      };
      input.addEventListener("input", () => {
        show(input.value);
        clearTimeout(waiting[key]);
        waiting[key] = setTimeout(() => send(key, Number(input.value)), 120); // once the finger rests
      });
      fields[key] = { input, show, missing: now };
      const spare = make("span", { className: "spare", textContent: longest });
      for (const part of [mark, spare]) part.setAttribute("aria-hidden", true);
      return make("div", { className: "field" }, make("label", { htmlFor: id, textContent: label }),
        make("div", { className: "value" }, output, spare), make("div", { className: "track" }, input, mark));
    },

    text({ key, label, hint }) {
      const id = own + key, input = make("input", { type: "text", id, autocomplete: "off" });
      input.addEventListener("input", () => send(key, input.value));
      return field(key, label, hint, input);
    },

    choice({ key, label, hint, options, radio }) {
      const id = own + key;
      if (!radio) {
        const input = make("select", { id }, ...options.map(([value, text]) => make("option", { value, textContent: text })));
        input.addEventListener("change", () => send(key, input.value));
        return field(key, label, hint, input);
      }
      const inputs = options.map(([value]) => make("input", { type: "radio", name: id, id: `${id}-${value}`, value }));
      inputs.forEach((input) => input.addEventListener("change", () => send(key, input.value)));
      fields[key] = { show: (value) => inputs.forEach((input) => (input.checked = input.value === value)) };
      return make("fieldset", { className: "radio" }, make("legend", { textContent: label }),
        ...inputs.map((input, i) => make("label", {}, input, " " + options[i][1])));
    },

    group({ title, parts, folded, wide }) {
      const inside = parts.map(built), name = wide ? "group wide" : "group";
      if (folded) return make("details", { className: name }, make("summary", {}, make("h2", { textContent: title })), ...inside);
      return make("section", { className: name }, ...(title ? [make("h2", { textContent: title })] : []), ...inside);
    },

    button({ key, label }) {
      const input = make("button", { type: "button", id: own + key, textContent: label });
      input.addEventListener("click", () => model.send({ pressed: key, values: model.get("values") }));
      return input;
    },

    words({ key, live, top }) {
      const node = make("div", { className: top ? "words top" : "words" });
      if (live) node.setAttribute("role", "status");
      places[key] = node;
      return node;
    },
  };

  const built = (part) => kinds[part.kind](part);

  function field(key, label, hint, input) {
    const id = own + key, told = make("p", { id: id + "-fault", className: "fault", hidden: true });
    const note = make("p", { id: id + "-hint", className: "hint" });
    input.setAttribute("aria-describedby", note.id + " " + told.id);
    fields[key] = { input, told, note, hint, show: (value) => input.value !== value && (input.value = value), missing: "" };
    return make("div", { className: "field" }, make("label", { htmlFor: id, textContent: label }), note, input, told);
  }

  function draw() {
    const at = el.contains(document.activeElement) ? document.activeElement.id : "";
    fields = {};
    places = {};
    const all = model.get("parts"), first = all.filter((part) => !part.wide).map(built), beside = all.filter((part) => part.wide).map(built);
    el.classList.add("controls");
    el.replaceChildren(...first.filter((node) => node.matches(".top")),
      make("div", { className: beside.length ? "two" : "one" }, make("div", {}, ...first.filter((node) => !node.matches(".top"))),
        ...(beside.length ? [make("div", {}, ...beside)] : [])));
    show();
    tell();
    hint();
    say();
    if (at) document.getElementById(at)?.focus(); // what had the keys has them again
  }

  function show() {
    const values = model.get("values");
    for (const [key, { show, missing }] of Object.entries(fields)) show(values[key] ?? missing);
  }

  function tell() {
    const faults = model.get("faults");
    for (const [key, { input, told }] of Object.entries(fields)) {
      if (!told) continue;
      told.textContent = faults[key] || "";
      told.hidden = !faults[key];
      input.setAttribute("aria-invalid", Boolean(faults[key]));
    }
    const wrong = Object.keys(fields).find((key) => faults[key]);
    if (wrong) fields[wrong].input.focus();
  }

  function hint() {
    for (const [key, { note, hint }] of Object.entries(fields)) if (note) note.textContent = model.get("hints")[key] ?? hint ?? "";
  }

  function say() {
    for (const [key, node] of Object.entries(places)) {
      const text = model.get("said")[key] || "";
      if (node.dataset.said === text) continue; // so that it is read out only as it changes
      node.dataset.said = text;
      // lines at the top keep the height they had, so that what stands below them stays where it is
      if (node.matches(".top")) node.style.minHeight = node.getBoundingClientRect().height + "px";
      node.innerHTML = text;
    }
  }

  model.on("change:parts", draw);
  model.on("change:values", show);
  model.on("change:faults", tell);
  model.on("change:hints", hint);
  model.on("change:said", say);
  draw();
  addEventListener("resize", () => el.querySelectorAll(".top").forEach((node) => (node.style.minHeight = "")));
}

export default { render };
