"use strict";
// Shows the place of the grid that the controls point at. Every number shown was written by the study's model.
(() => {
  const views = JSON.parse(document.getElementById("panel-data").textContent);
  const get = (id) => document.getElementById(id);
  const keys = ["scrap", "price", "wait"];
  const inputs = keys.map((key) => get("panel-" + key));
  const WORDS = 112, AXIS = 75; // pixels
  const NOW = " (as now)";
  let view, size, chart;

  const place = (at) => (at[0] * size[1] + at[1]) * size[2] + at[2];
  const here = () => inputs.map((input) => Number(input.value));

  function choose(which) {
    view = views[which];
    size = keys.map((key) => (view.controls.find((c) => c.key === key) || { values: [0] }).values.length);
    keys.forEach((key, axis) => {
      const control = view.controls.find((c) => c.key === key);
      const box = document.querySelector(`[data-control="${key}"]`);
      box.hidden = !control;
      inputs[axis].max = size[axis] - 1;
      inputs[axis].value = control ? control.now : 0;
      if (!control) return;
      box.querySelector("label").textContent = control.label;
      box.querySelector(".spare").textContent = control.values.reduce((a, b) => (b.length > a.length ? b : a)) + NOW;
      box.querySelector(".mark").style.setProperty("--at", control.now / Math.max(size[axis] - 1, 1));
      const ends = box.querySelectorAll(".ends span");
      ends[0].textContent = control.values[0];
      ends[1].textContent = control.values[size[axis] - 1];
    });
    chart = draw();
    show();
  }

  function show() {
    const at = here(), index = place(at), words = { target: view.target, living: view.living };
    for (const [name, cells] of Object.entries(view.cells)) words[name] = cells[index];
    view.controls.forEach((control) => {
      const axis = keys.indexOf(control.key), text = control.values[at[axis]] + (at[axis] === control.now ? NOW : "");
      inputs[axis].setAttribute("aria-valuetext", text);
      document.querySelector(`output[for="panel-${control.key}"]`).textContent = text;
    });
    document.querySelectorAll("#panel [data-cell]").forEach((cell) => (cell.textContent = words[cell.dataset.cell]));
    rows(at);
    move(at);
  }

  function rows(at) {
    const body = get("panel-rows");
    body.replaceChildren(...view.controls[0].values.map((rate, i) => {
      const row = document.createElement("tr"), index = place([i, at[1], at[2]]);
      const head = document.createElement("th");
      head.scope = "row";
      head.textContent = rate + (i === view.controls[0].now ? NOW : "");
      row.append(head, ...["low", "middle", "high", "chance"].map((name) => {
        const cell = document.createElement("td");
        cell.textContent = view.cells[name][index];
        return cell;
      }));
      return row;
    }));
  }

  function draw() {
    const curve = view.curve, most = curve.scrap[curve.scrap.length - 1], { line, target, here } = curve.colours;
    const font = getComputedStyle(document.body).fontFamily;
    const text = { axis_label_text_font: font, major_label_text_font: font, axis_label_text_font_style: "normal",
      axis_label_text_color: here, major_label_text_color: here, major_label_text_font_size: "13px",
      axis_label_text_font_size: "14px", minor_tick_line_color: null };
    const plot = Bokeh.Plotting.figure({ height: 340, sizing_mode: "stretch_width", toolbar_location: null, tools: [],
      x_range: [0, most], y_range: [0, 1], outline_line_color: null, min_border_right: 4 });
    // room for the words at the right end, whatever the width
    const room = () => (plot.x_range.end = most * (1 + WORDS / Math.max(get("panel-chart").clientWidth - AXIS - WORDS, WORDS)));
    const band = new Bokeh.ColumnDataSource({ data: { x: [], low: [], middle: [], high: [] } });
    const dot = new Bokeh.ColumnDataSource({ data: { x: [], low: [], middle: [], high: [] } });
    const ends = new Bokeh.ColumnDataSource({ data: { x: [], y: [], text: [], colour: [] } });
    plot.varea({ x: { field: "x" }, y1: { field: "low" }, y2: { field: "high" }, source: band, fill_color: line, fill_alpha: 0.2 });
    for (const edge of ["low", "high"]) plot.line({ x: { field: "x" }, y: { field: edge }, source: band, line_color: line, line_width: 1 });
    plot.line({ x: { field: "x" }, y: { field: "middle" }, source: band, line_color: line, line_width: 3 });
    plot.line({ x: [0, most], y: [curve.target, curve.target], line_color: target, line_width: 2, line_dash: [7, 5] });
    plot.segment({ x0: { field: "x" }, y0: { field: "low" }, x1: { field: "x" }, y1: { field: "high" }, source: dot, line_color: here, line_width: 2 });
    // where the study stands, a ring that stays as the dot leaves it
    plot.scatter({ x: [curve.scrap[curve.now[0]]], y: [curve.middle[place(curve.now)]], size: 14, fill_color: "white", line_color: here, line_width: 2 });
    plot.scatter({ x: { field: "x" }, y: { field: "middle" }, source: dot, size: 12, fill_color: here, line_color: "white" });
    plot.text({ x: { field: "x" }, y: { field: "y" }, text: { field: "text" }, text_color: { field: "colour" }, source: ends,
      text_font: font, text_font_size: "13px", text_baseline: "middle", x_offset: 5 });
    Object.assign(plot.xaxis, text, { axis_label: "scrap rate, of all casts", bounds: [0, most] });
    Object.assign(plot.yaxis, text, { axis_label: "pay an hour" });
    const ticked = (axis, grid, ticks, labels) => {
      axis.major_label_overrides = new Map(ticks.map((tick, i) => [tick, labels[i]]));
      axis.ticker = grid.ticker = new Bokeh.FixedTicker({ ticks });
    };
    ticked(plot.xaxis, plot.xgrid, curve.scrap_ticks, curve.scrap_labels);
    // the axis of pay holds what is drawn, today's lines and the target, with half a line of words beyond; how high such a line is on it
    const scale = ({ ticks, labels }) => {
      const [first, last] = [ticks[0], ticks[ticks.length - 1]];
      ticked(plot.yaxis, plot.ygrid, ticks, labels);
      const line = 0.075 * (last - first);
      Object.assign(plot.y_range, { start: first - line / 2, end: last + line / 2 });
      return line;
    };
    room();
    get("panel-chart").replaceChildren();
    Bokeh.Plotting.show(plot, get("panel-chart"));
    return { band, dot, ends, most, room, scale };
  }

  function move(at) {
    const curve = view.curve, read = (name, i) => curve[name][place([i, at[1], at[2]])];
    const column = (name) => curve.scrap.map((_, i) => read(name, i));
    const end = curve.scrap.length - 1, words = curve.word_colours, gap = chart.scale(curve.pay[at[1]][at[2]]);
    chart.band.data = { x: curve.scrap, low: column("low"), middle: column("middle"), high: column("high") };
    chart.dot.data = { x: [curve.scrap[at[0]]], low: [read("low", at[0])], middle: [read("middle", at[0])], high: [read("high", at[0])] };
    const labels = [[read("middle", end), "middle", words.line], [read("high", end), "eight in ten", words.line],
      [curve.target, "target " + view.target, words.target]];
    labels.sort((a, b) => a[0] - b[0]);
    // pushed apart, so that none covers another, and none far from its line
    const before = labels.map((label) => label[0]);
    labels.forEach((label, i) => { if (i) label[0] = Math.max(label[0], labels[i - 1][0] + gap); });
    const shift = labels.reduce((sum, label, i) => sum + label[0] - before[i], 0) / labels.length;
    labels.forEach((label) => { label[0] -= shift; });
    chart.ends.data = { x: labels.map(() => chart.most), y: labels.map((l) => l[0]), text: labels.map((l) => l[1]), colour: labels.map((l) => l[2]) };
  }

  // what does not scroll is no stop of the tab key
  function stops() {
    for (const box of document.querySelectorAll(".scroll")) {
      if (box.scrollWidth > box.clientWidth) box.tabIndex = 0;
      else box.removeAttribute("tabindex");
    }
  }
  addEventListener("resize", stops);
  document.addEventListener("toggle", stops, true);
  inputs.forEach((input) => input.addEventListener("input", show));
  get("panel-product").addEventListener("change", (event) => choose(Number(event.target.value)));
  get("panel-back").addEventListener("click", () => choose(Number(get("panel-product").value)));
  addEventListener("resize", () => chart.room());
  get("panel-live").hidden = false;
  choose(0);
  stops();
  get("panel").classList.add("live"); // from here on the table of corners is for paper only
})();
