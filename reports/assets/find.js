// The readiness board narrowed by name, reading and level, all tables at once.
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const { el } = self.plateworkTools;
  const place = document.querySelector('[data-tool="find"]');
  const tables = [...document.querySelectorAll('table[id^="board-"]')];
  if (!place || !tables.length) return;
  const rows = tables.flatMap((table) => [...table.tBodies[0].rows].map((row) => ({ row, table, text: row.textContent.toLowerCase(), reading: row.querySelector("td.marked")?.textContent.trim() ?? "" })));
  const readings = ["Ready", "More looks", "Not yet"].filter((words) => rows.some((one) => one.reading === words));

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

  const narrow = () => {
    const text = field.value.trim().toLowerCase();
    const wanted = new Set(boxes.filter((box) => box.checked).map((box) => box.value));
    const left = new Map(tables.map((table) => [table, 0]));
    let shown = 0;
    for (const { row, table, text: words, reading } of rows) {
      const keep = (text === "" || words.includes(text)) && wanted.has(reading) && (level.value === "" || level.value === table.id) && (!lacking.checked || row.querySelector("td[data-lacking]") !== null || words.includes("lacking"));
      row.hidden = !keep;
      if (keep) {
        left.set(table, left.get(table) + 1);
        shown += 1;
      }
    }
    for (const [table, number] of left) {
      const section = table.closest("section");
      section.hidden = number === 0;
      // A figure of everybody beside a table of some would mislead.
      for (const figure of section.querySelectorAll("figure")) figure.hidden = number < table.tBodies[0].rows.length;
    }
    told.textContent = shown === rows.length ? "" : shown === 0 ? "No umpire is left: take a filter back." : `${shown} of ${rows.length} umpires are shown.`;
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
