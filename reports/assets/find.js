// The readiness board narrowed by name, reading and level, all tables at once; of a long one all rows, whether they
// stand in the page or not.
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const { el } = self.plateworkTools;
  const place = document.querySelector('[data-tool="find"]');
  const tables = [...document.querySelectorAll('table[id^="board-"]')];
  if (!place || !tables.length) return;
  // A table that stands whole in the page, with the same means as a long one has (rows.js).
  const whole = (table) => {
    const rows = [...table.tBodies[0].rows].map((row) => ({ row, words: row.textContent.toLowerCase(), reading: row.querySelector("td.marked")?.textContent.trim() ?? "" }));
    const narrow = (keep) => rows.reduce((kept, one) => {
      one.row.hidden = keep !== null && !keep(one);
      return kept + !one.row.hidden;
    }, 0);
    return { table, rows, narrow, size: () => rows.length };
  };
  const lists = tables.map((table) => self.plateworkRows?.of(table) ?? whole(table));
  const long = lists.filter((one) => one.ready);
  const readings = ["Ready", "More looks", "Not yet"].filter((words) => long.length || lists.some((one) => one.rows.some(({ reading }) => reading === words)));

  // One filter for all tables takes the place of the one that each long table has.
  for (const table of tables) {
    const own = table.parentElement.previousElementSibling;
    if (own?.classList.contains("filter")) own.remove();
  }

  const field = el("input", { type: "search", id: "find-text", autocomplete: "off" });
  const level = el("select", { id: "find-level" }, el("option", { value: "" }, "every level"), tables.map((table) => el("option", { value: table.id }, table.closest("section").dataset.level ?? table.caption.textContent.replace(/^Readiness for /, ""))));
  const boxes = readings.map((words, number) => el("input", { type: "checkbox", id: `find-reading-${number}`, value: words, checked: true }));
  const lacking = el("input", { type: "checkbox", id: "find-lacking" });
  const told = el("p", { class: "nothing", role: "status" });

  const apply = () => {
    const text = field.value.trim().toLowerCase();
    const wanted = new Set(boxes.filter((box) => box.checked).map((box) => box.value));
    const fits = ({ words, reading }) => (text === "" || words.includes(text)) && wanted.has(reading) && (!lacking.checked || words.includes("lacking"));
    const all = text === "" && wanted.size === boxes.length && !lacking.checked;
    let [shown, everybody] = [0, 0];
    for (const list of lists) {
      const number = list.narrow(level.value !== "" && level.value !== list.table.id ? () => false : all ? null : fits);
      const section = list.table.closest("section");
      section.hidden = number === 0;
      // A figure of everybody beside a table of some would mislead.
      for (const figure of section.querySelectorAll("figure")) figure.hidden = number < list.size();
      shown += number;
      everybody += list.size();
    }
    const verb = long.length ? "fit" : "are shown";
    told.textContent = shown === everybody ? "" : shown === 0 ? "No umpire is left: take a filter back." : `${shown.toLocaleString("en")} of ${everybody.toLocaleString("en")} umpires ${verb}.`;
  };

  let fetched = long.length === 0;
  const narrow = async () => {
    if (fetched) {
      apply();
      return;
    }
    told.textContent = "Everybody is being fetched.";
    try {
      await Promise.all(long.map((list) => list.ready()));
      fetched = true;
      apply();
    } catch (fault) {
      told.textContent = "The list of everybody could not be read: keep the folder assets/data beside the pages. The parts named below each table stand.";
      console.error(fault);
    }
  };

  for (const input of [field, level, lacking, ...boxes]) input.addEventListener("input", narrow);
  const reset = el("button", { type: "button", onclick: () => {
    field.value = "";
    level.value = "";
    lacking.checked = false;
    for (const box of boxes) box.checked = true;
    narrow();
    field.focus();
  } }, "Show all");
  place.replaceChildren(
    el(
      "form",
      { class: "tool-choice", role: "search", "aria-label": "Narrow the board", onsubmit: (event) => event.preventDefault() },
      el("div", { class: "tool-field" }, el("label", { for: "find-text" }, "Name or any words"), field),
      tables.length > 1 ? el("div", { class: "tool-field" }, el("label", { for: "find-level" }, "Judged for"), level) : null,
      el("fieldset", { class: "tool-checks" }, el("legend", {}, "Reading"), boxes.map((box) => el("label", { for: box.id }, box, " ", box.value))),
      el("fieldset", { class: "tool-checks" }, el("legend", {}, "Evidence"), el("label", { for: "find-lacking" }, lacking, " only where it is lacking")),
      reset,
    ),
    told,
  );
  place.dataset.ready = "yes";
});
