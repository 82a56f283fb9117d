// What the pages' tools share: fetching a set of data, and building what they show. Words from the data are only ever
// set as text.
"use strict";

self.plateworkTools = (() => {
  const THIN = "\u202f";
  const NOTHING = "–";

  const fetchScript = (address) =>
    new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = address;
      script.addEventListener("load", done);
      script.addEventListener("error", () => failed(new Error(address)));
      document.body.append(script);
    });

  const unpack = async (text) => {
    const packed = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
    const plain = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
    const bytes = new Uint8Array(await new Response(plain).arrayBuffer());
    const length = new DataView(bytes.buffer).getUint32(0, true);
    return { header: JSON.parse(new TextDecoder().decode(bytes.subarray(4, 4 + length))), body: bytes.subarray(4 + length) };
  };

  // Data by their address, each fetched and unpacked once.
  const found = new Map();
  const load = (address) => {
    if (!found.has(address)) {
      const name = address.split("/").pop().replace(/\.js$/, "");
      found.set(address, fetchScript(address).then(() => unpack(self.plateworkData[name])));
    }
    return found.get(address);
  };

  const put = (node, given) => {
    for (const one of given.flat(Infinity)) {
      if (one !== null && one !== undefined) node.append(one);
    }
    return node;
  };

  const el = (tag, attributes = {}, ...children) => {
    const node = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (value === false || value === null || value === undefined) continue;
      if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
      else node.setAttribute(name, value === true ? "" : value);
    }
    return put(node, children);
  };

  const svg = (tag, attributes = {}, ...children) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    return put(node, children);
  };

  const SHAPES = {
    disc: () => svg("circle", { cx: 6, cy: 6, r: 4.5 }),
    block: () => svg("rect", { x: 1.8, y: 1.8, width: 8.4, height: 8.4 }),
    rhomb: () => svg("path", { d: "M6 1 11 6 6 11 1 6Z" }),
  };
  const READINGS = { ready: ["Ready", "disc"], more_looks: ["More looks", "rhomb"], not_yet: ["Not yet", "block"] };

  const glyph = (shape) => svg("svg", { class: `glyph glyph-${shape}`, viewBox: "0 0 12 12", width: 12, height: 12, "aria-hidden": "true", focusable: "false" }, SHAPES[shape]());

  // A reading with its shape, as on every other page.
  const reading = (verdict) => {
    const [words, shape] = READINGS[verdict];
    return el("span", { class: "whole" }, glyph(shape), " ", words);
  };

  const percent = (value, digits = 1) => (value === null || value === undefined ? NOTHING : `${(100 * value).toFixed(digits)}${THIN}%`);
  const range = (low, high) =>
    low === null || high === null || low === undefined || high === undefined
      ? NOTHING
      : `${(100 * low).toFixed(1)}–${(100 * high).toFixed(1)}${THIN}%`;
  const signed = (value) => (value === 0 ? "0" : value > 0 ? `+${value}` : `−${-value}`);
  const named = (one) => (one.href ? el("a", { href: one.href }, one.name) : one.name);

  // A table as the pages have them: `columns` are [title, kind], `rows` lists of cells, each a node, a text, or
  // [content, attributes]; the first cell of a row names it.
  const table = (id, caption, columns, rows, attributes = []) =>
    el(
      "div",
      { class: "table-wrap", role: "region", "aria-labelledby": `${id}-caption`, tabindex: "0" },
      el(
        "table",
        { id, class: "ledger-table" },
        el("caption", { id: `${id}-caption` }, caption),
        el("thead", {}, el("tr", {}, columns.map(([title, kind]) => el("th", { scope: "col", class: kind }, title)))),
        el(
          "tbody",
          {},
          rows.map((row, place) =>
            el(
              "tr",
              attributes[place] ?? {},
              row.map((cell, column) => {
                const kind = columns[column][1];
                return column === 0 ? el("th", { scope: "row", class: kind }, cell) : el("td", { class: kind }, cell);
              }),
            ),
          ),
        ),
      ),
    );

  // Fill every tool of a name once it comes near the screen; say so where that cannot be.
  const start = (name, make) => {
    const say = (place, words) => place.replaceChildren(el("p", { class: "caution", role: "status" }, words));
    const fill = async (place) => {
      if (typeof DecompressionStream === "undefined") {
        say(place, "This browser is too old for the sliders and choices of this page; the tables below can be read.");
        return;
      }
      try {
        await make(place, await load(place.dataset.source));
        place.dataset.ready = "yes";
      } catch (fault) {
        say(place, "The data of this part could not be read: keep the folder assets/data beside the pages. The tables below stand.");
        console.error(fault);
      }
    };
    document.addEventListener("DOMContentLoaded", () => {
      const near = new IntersectionObserver(
        (seen) => {
          for (const one of seen) {
            if (one.isIntersecting) {
              near.unobserve(one.target);
              fill(one.target);
            }
          }
        },
        { rootMargin: "600px" },
      );
      for (const place of document.querySelectorAll(`[data-tool="${name}"]`)) near.observe(place);
    });
  };

  return { load, start, el, svg, glyph, reading, READINGS, percent, range, signed, named, table, NOTHING };
})();
