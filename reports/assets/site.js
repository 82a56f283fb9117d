// What a page gains where scripts run: figures that answer the pointer, tables that can be sorted and filtered.
// Everything can be read without it.
"use strict";

(() => {
  const FILTER_FROM = 13; // rows from which a filter is worth its place
  const DRAW_FROM = 640; // width in pixels below which the figures stay as they stand in the page: they fit better
  const plotlyAddress = document.currentScript.dataset.plotly;

  const colours = () => {
    const style = getComputedStyle(document.documentElement);
    const role = (name) => style.getPropertyValue(`--${name}`).trim();
    return { accent: role("accent"), warn: role("warn"), ink: role("ink"), muted: role("muted"), rule: role("rule"), paper: role("paper") };
  };

  const resolve = (value, palette) => {
    if (typeof value === "string") return value.startsWith("@") && value.slice(1) in palette ? palette[value.slice(1)] : value;
    if (Array.isArray(value)) return value.map((item) => resolve(item, palette));
    if (value && typeof value === "object") {
      return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, resolve(item, palette)]));
    }
    return value;
  };

  const TEXT_KEYS = new Set(["hovertext", "ticktext", "text", "name"]);
  const resolveFigure = (value, palette, key) => {
    // Words are never taken for colours, whatever they look like.
    if (TEXT_KEYS.has(key)) return value;
    if (Array.isArray(value)) return value.map((item) => resolveFigure(item, palette));
    if (value && typeof value === "object") {
      return Object.fromEntries(Object.entries(value).map(([name, item]) => [name, resolveFigure(item, palette, name)]));
    }
    return resolve(value, palette);
  };

  const drawFigures = () => {
    const source = document.getElementById("figure-data");
    if (!source || typeof window.Plotly === "undefined") return;
    const figures = JSON.parse(source.textContent);
    const palette = colours();
    const font = getComputedStyle(document.body).fontFamily;
    for (const [id, figure] of Object.entries(figures)) {
      const place = document.getElementById(id);
      if (!place) continue;
      const { data, layout } = resolveFigure(figure, palette);
      layout.font = { ...layout.font, color: palette.ink, family: font };
      layout.xaxis = { ...layout.xaxis, gridcolor: palette.rule, griddash: "dot", tickfont: { color: palette.muted } };
      layout.yaxis = { ...layout.yaxis, gridcolor: palette.rule };
      layout.hoverlabel = { bgcolor: palette.paper, bordercolor: palette.ink, font: { color: palette.ink, family: font, size: 13 }, align: "left" };
      place.hidden = false;
      place.parentElement.classList.add("is-live");
      window.Plotly.newPlot(place, data, layout, { displaylogo: false, displayModeBar: false, responsive: true });
    }
  };

  const cellKey = (row, column) => {
    const cell = row.cells[column];
    const given = cell.dataset.sort;
    const text = given === undefined ? cell.textContent.trim() : given;
    const figure = Number(text);
    return text !== "" && Number.isFinite(figure) ? figure : text.toLowerCase();
  };

  const compare = (a, b) => {
    if (typeof a === "number" && typeof b === "number") return a - b;
    if (typeof a === typeof b) return a.localeCompare(b);
    return typeof a === "number" ? -1 : 1;
  };

  const makeSortable = (table) => {
    const body = table.tBodies[0];
    [...table.tHead.rows[0].cells].forEach((heading, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...heading.childNodes);
      heading.append(button);
      button.addEventListener("click", () => {
        const down = heading.getAttribute("aria-sort") === "ascending";
        for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
        heading.setAttribute("aria-sort", down ? "descending" : "ascending");
        const rows = [...body.rows].map((row) => [cellKey(row, column), row]);
        rows.sort((x, y) => (down ? -1 : 1) * compare(x[0], y[0]));
        body.append(...rows.map((pair) => pair[1]));
      });
    });
  };

  const makeFilter = (table) => {
    const rows = [...table.tBodies[0].rows];
    const label = document.createElement("label");
    const field = document.createElement("input");
    const told = document.createElement("span");
    label.className = "filter";
    field.type = "search";
    told.setAttribute("role", "status");
    label.append("Show rows with", field, told);
    table.parentElement.before(label);
    field.addEventListener("input", () => {
      const wanted = field.value.trim().toLowerCase();
      let shown = 0;
      for (const row of rows) {
        row.hidden = wanted !== "" && !row.textContent.toLowerCase().includes(wanted);
        shown += row.hidden ? 0 : 1;
      }
      told.textContent = wanted === "" ? "" : `${shown} of ${rows.length} rows`;
    });
  };

  document.addEventListener("DOMContentLoaded", () => {
    for (const table of document.querySelectorAll("table.ledger-table")) {
      const rows = table.tBodies[0].rows.length;
      if (rows > 2) makeSortable(table);
      if (rows >= FILTER_FROM) makeFilter(table);
    }
  });

  // The drawing script is large: it is fetched only once the page stands and can be read.
  const fetchPlotly = () => {
    const script = document.createElement("script");
    script.src = plotlyAddress;
    script.addEventListener("load", () => {
      drawFigures();
      matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawFigures);
    });
    document.body.append(script);
  };
  if (plotlyAddress && innerWidth >= DRAW_FROM) {
    addEventListener("load", () => setTimeout(fetchPlotly, 0));
  }
})();
