// Lists longer than a page: searched, sorted and paged through, from data that hold every row. Words from the data are
// only ever set as text. Where the data cannot be read, the rows of the page stand, and so do the parts named below.
"use strict";

self.plateworkRows = (() => {
  const { load, start, el, glyph } = self.plateworkTools;
  const LEAST = 50; // rows drawn at once, where the page itself shows fewer
  const collator = new Intl.Collator("en");

  const isLink = (part) => Array.isArray(part);
  const wordsOf = (cell) => {
    if (typeof cell === "string") return cell;
    const [text, , , , links = [], parts = []] = cell;
    return [text, ...[...links, ...parts].map((part) => (isLink(part) ? part[0] : part))].join(" ");
  };

  // Long names such as plate_calls_E01.csv may be broken at their joints, as on every other page.
  const breakable = (text) => (text.length < 12 || text.includes(" ") ? [text] : text.split(/(?<=[._+/])(?=.)/u).flatMap((part, place) => (place ? [el("wbr"), part] : [part])));

  const linked = (root) => (part) => (isLink(part) ? el("a", { href: root + part[1] }, part[0]) : part);

  const content = (cell, root) => {
    if (typeof cell === "string") return breakable(cell);
    const [text, , href, mark, links = [], parts = []] = cell;
    let out = breakable(text);
    if (href) out = [el("a", { href: root + href }, out)];
    if (mark) out = [glyph(mark), " ", ...out];
    links.forEach((link, place) => out.push(place || text ? ", " : "", linked(root)(link)));
    if (parts.length) out.push(text ? ": " : "", ...parts.map(linked(root)));
    return out;
  };

  const drawn = (row, columns, root) =>
    el(
      "tr",
      {},
      row.map((cell, place) => {
        const given = typeof cell === "string" ? undefined : cell[1];
        const marked = place && typeof cell !== "string" && cell[3] ? " marked" : "";
        const attributes = { class: columns[place][1] + marked, "data-sort": given === undefined || given === null ? undefined : String(given) };
        return place ? el("td", attributes, content(cell, root)) : el("th", { scope: "row", ...attributes }, content(cell, root));
      }),
    );

  // What a column is ordered by: figures before words, as site.js has it for tables that stand whole in their page.
  const keyOf = (cell) => {
    const text = typeof cell === "string" ? cell : (cell[1] ?? cell[0]);
    const figure = Number(text);
    return text !== "" && Number.isFinite(figure) ? figure : String(text).toLowerCase();
  };
  const compare = (a, b) => {
    if (typeof a === "number" && typeof b === "number") return a - b;
    if (typeof a === typeof b) return collator.compare(a, b);
    return typeof a === "number" ? -1 : 1;
  };

  const count = (number) => number.toLocaleString("en");

  // The list that a tool serves: its id says with which row of all the table begins, and the table's own id.
  const made = (place) => {
    const [, first, name] = place.id.match(/^rows-(\d+)-(.+)$/);
    const table = document.getElementById(name);
    const body = table.tBodies[0];
    const wrap = table.parentElement;
    const source = place.dataset.source;
    const root = source.slice(0, source.indexOf("assets/"));
    const size = Math.max(body.rows.length, LEAST);
    let [rows, columns, caption, found, at, keep] = [null, null, "", null, Number(first), null];

    const told = el("span", { role: "status", class: "rows-told" });
    const step = (words, by) =>
      el("button", { type: "button", onclick: (event) => {
        // A button that has nothing to do keeps the focus, and says so.
        if (event.currentTarget.getAttribute("aria-disabled") !== "true") show(at + by);
      } }, words);
    const [before, after] = [step("Rows before", -size), step("Rows after", size)];

    const say = (length) => {
      const last = Math.min(at + length, found.length);
      const of = found.length === rows.length ? count(rows.length) : `${count(found.length)} that fit, of ${count(rows.length)}`;
      told.textContent = found.length ? `Rows ${count(at + 1)} to ${count(last)} of ${of}.` : `None of ${count(rows.length)} rows fits.`;
      before.setAttribute("aria-disabled", String(at === 0));
      after.setAttribute("aria-disabled", String(last >= found.length));
    };

    const show = (from) => {
      at = Math.max(0, from);
      table.caption.textContent = caption;
      body.replaceChildren(...found.slice(at, at + size).map((row) => drawn(row.cells, columns, root)));
      say(size);
    };

    let order = null;
    const choose = () => {
      found = keep ? order.filter(keep) : order;
      // A part that is neither searched nor sorted begins where it began.
      show(found === rows ? Number(first) : 0);
    };

    const narrow = (test) => {
      keep = test;
      choose();
      return found.length;
    };

    // The page's own sorting moves the rows in sight alone: its buttons are made anew.
    const sortable = () => {
      [...table.tHead.rows[0].cells].forEach((heading, column) => {
        const old = heading.querySelector("button");
        const button = el("button", { type: "button" }, [...(old ?? heading).childNodes]);
        heading.replaceChildren(button);
        button.addEventListener("click", () => {
          const down = heading.getAttribute("aria-sort") === "ascending";
          for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
          heading.setAttribute("aria-sort", down ? "descending" : "ascending");
          const keyed = rows.map((row) => [keyOf(row.cells[column]), row]);
          keyed.sort((x, y) => (down ? -1 : 1) * compare(x[0], y[0]));
          order = keyed.map((pair) => pair[1]);
          choose();
        });
      });
    };

    const searchable = () => {
      const field = el("input", { type: "search", autocomplete: "off" });
      field.addEventListener("input", () => {
        const wanted = field.value.trim().toLowerCase();
        narrow(wanted === "" ? null : (row) => row.words.includes(wanted));
      });
      return field;
    };

    let ready = null;
    const fill = ({ header }) => {
      if (rows) return;
      ({ columns, caption } = header);
      rows = header.rows.map((cells) => ({ cells, words: cells.map(wordsOf).join(" ").toLowerCase(), reading: cells.find((cell) => cell[3] && typeof cell !== "string")?.[0] ?? "" }));
      order = found = rows;
      // The page's own search reads the rows in sight alone; the board has one search for all its lists.
      const own = wrap.previousElementSibling?.matches("label.filter") ? wrap.previousElementSibling : null;
      const former = own?.querySelector("input");
      const hadFocus = former === document.activeElement;
      const field = document.querySelector('[data-tool="find"]') ? null : searchable();
      const ways = el("div", { class: "tool-buttons rows-ways" }, before, after, told);
      place.replaceChildren(...(field ? [el("label", { class: "filter" }, "Show rows with", field), ways] : [ways]));
      wrap.before(place);
      own?.remove();
      sortable();
      say(body.rows.length);
      if (field && former?.value) {
        // Whoever began to type before the data were there is not asked to begin anew.
        field.value = former.value;
        field.dispatchEvent(new Event("input"));
      }
      if (field && hadFocus) field.focus();
    };
    return { table, narrow, fill, size: () => rows.length, ready: () => (ready ??= load(source).then(fill)) };
  };

  const lists = new Map();
  const listOf = (place) => {
    if (!lists.has(place.id)) lists.set(place.id, made(place));
    return lists.get(place.id);
  };

  start("rows", (place, data) => listOf(place).fill(data));

  // The long list that a table is the beginning of, or nothing.
  const of = (table) => {
    const place = [...document.querySelectorAll('[data-tool="rows"]')].find((one) => one.id.replace(/^rows-\d+-/, "") === table.id);
    return place ? listOf(place) : null;
  };
  return { of };
})();
