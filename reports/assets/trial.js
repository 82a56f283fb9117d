// The standards tried otherwise. A reading follows from the same joint draws, by the same rule, as in the engine
// (pipeline/scoring/readiness.py, `reading`); tests hold the two against each other.
"use strict";

(() => {
  const { start, el, svg, reading, READINGS, percent, signed, named, table, NOTHING } = self.plateworkTools;
  const REACH = 0.2; // how far from the policy's cut a slider goes, as a share
  const MOST_ROWS = 300;
  const PERSON = 22; // height of a row of the figure, in pixels
  const SMALL = 60; // so many umpires are drawn
  const EVIDENCE = { games: "Games", calls: "Calls", evaluators: "Evaluators" };
  const RISKS = { ready: "Ready in error", not_yet: "Not yet in error" };

  const policySettings = (header) => ({
    // By area the place (from 1) of the cut among the area's stops; 0: no standard.
    cuts: Object.fromEntries(header.areas.map((area) => [area.id, area.policy === null ? 0 : area.stops.indexOf(area.policy) + 1])),
    risks: { ...header.risks },
    evidence: { ...header.evidence },
    limits: { ...header.limits },
  });

  const verdictOf = (settings, chance, lacking, unseen, tooMany) => {
    if (tooMany) return "not_yet";
    if (lacking || chance === null) return "more_looks";
    if (chance >= 1 - settings.risks.ready && !unseen) return "ready";
    if (chance <= settings.risks.not_yet) return "not_yet";
    return "more_looks";
  };

  const readAll = ({ header, body }, settings) => {
    const { draws, people } = header;
    const asked = header.areas.filter((area) => settings.cuts[area.id] > 0);
    const drawn = header.areas.filter((area) => area.drawn);
    const alive = new Uint8Array(draws);
    return people.map((person, index) => {
      alive.fill(1);
      let known = false;
      for (const area of asked) {
        if (!area.drawn) continue;
        known = true;
        const need = settings.cuts[area.id];
        const from = (drawn.indexOf(area) * people.length + index) * draws;
        for (let k = 0; k < draws; k++) if (body[from + k] < need) alive[k] = 0;
      }
      let count = 0;
      for (let k = 0; k < draws; k++) count += alive[k];
      const chance = known ? count / draws : null;
      const lacking = Object.keys(EVIDENCE).some((name) => person[name] < settings.evidence[name]);
      const unseen = asked.some((area) => !person.seen.includes(area.id));
      const tooMany = Object.entries(settings.limits).some(([name, limit]) => (person.made[name] ?? 0) > limit);
      return { chance, verdict: verdictOf(settings, chance, lacking, unseen, tooMany) };
    });
  };

  const tally = (read) => {
    const found = { ready: 0, more_looks: 0, not_yet: 0 };
    for (const one of read) found[one.verdict] += 1;
    return found;
  };

  // A slider over a list of values with a step button on either side; `change` gets the place in the list.
  const slider = (id, title, values, place, first, last, shown, change) => {
    const field = el("input", { type: "range", id, min: first, max: last, step: 1, value: place });
    const told = el("output", { for: id, class: "tool-value" });
    const set = (to) => {
      field.value = to;
      field.setAttribute("aria-valuetext", shown(values[Number(field.value)]));
      told.textContent = shown(values[Number(field.value)]);
    };
    field.addEventListener("input", () => {
      set(field.value);
      change(Number(field.value));
    });
    const step = (by, sign, words) =>
      el("button", {
        type: "button",
        class: "tool-step",
        "aria-label": `${title}: one step ${words}`,
        onclick: () => {
          set(Number(field.value) + by);
          change(Number(field.value));
        },
      }, sign);
    set(place);
    const parts = [step(-1, "−", "lower"), field, step(1, "+", "higher"), told];
    return { parts: el("span", { class: "tool-slide" }, parts), set, field };
  };

  // Everybody's chance as tried, with a ring where it stands by the policy, between the lines that the risks draw.
  // The order stays that of the policy, so that a mark is seen to move.
  const SHAPES = {
    ready: ["accent", () => svg("circle", { r: 4.6 })],
    more_looks: ["ink", () => svg("path", { d: "M0-5.6 5.6 0 0 5.6-5.6 0Z" })],
    not_yet: ["warn", () => svg("rect", { x: -4.4, y: -4.4, width: 8.8, height: 8.8 })],
  };
  const mark = (x, y, role, shape, hollow) => {
    const place = svg("svg", { x, y, overflow: "visible", class: `mark ${role}${hollow ? " diamond-open" : ""}` });
    place.append(shape());
    return place;
  };
  const chances = (header, settings, order, before, after, title) => {
    const height = order.length * PERSON;
    const at = (share) => `${(100 * share).toFixed(2)}%`;
    const field = svg("svg", { class: "chart-field", width: "100%", height: height + 53, focusable: "false" });
    const inner = svg("svg", { y: 31, overflow: "visible", width: "100%", height: height + 22 });
    for (let k = 0; k <= 5; k++) {
      const anchor = k === 0 ? "start" : k === 5 ? "end" : "middle";
      inner.append(svg("line", { class: "tick", x1: at(k / 5), x2: at(k / 5), y1: 0, y2: height }), svg("text", { class: k % 2 ? "tick-text between" : "tick-text", x: at(k / 5), y: height + 15, "text-anchor": anchor }, percent(k / 5, 0)));
    }
    const lines = [[settings.risks.not_yet, `not yet up to ${percent(settings.risks.not_yet, 0)}`], [1 - settings.risks.ready, `ready from ${percent(1 - settings.risks.ready, 0)}`]];
    // One below the other: on a narrow page they would run into each other.
    for (const [number, [share, words]] of lines.entries()) {
      const anchor = share < 0.2 ? "start" : share > 0.8 ? "end" : "middle";
      inner.append(svg("line", { class: "cut", x1: at(share), x2: at(share), y1: -2, y2: height }), svg("text", { class: "cut-text", x: at(share), y: -6 - 13 * number, "text-anchor": anchor }, words));
    }
    order.forEach((index, row) => {
      const y = (row + 0.5) * PERSON;
      const [was, is] = [before[index].chance, after[index].chance];
      inner.append(svg("line", { class: "row-rule", x1: 0, x2: "100%", y1: y, y2: y }));
      if (was !== null && was !== is) {
        if (is !== null) inner.append(svg("line", { class: "range muted", x1: at(was), x2: at(is), y1: y, y2: y }));
        inner.append(mark(at(was), y, "muted faint", () => svg("circle", { r: 3.4 })));
      }
      if (is !== null) {
        const [role, shape] = SHAPES[after[index].verdict];
        inner.append(mark(at(is), y, role, shape, after[index].verdict === "more_looks"));
      }
    });
    field.append(inner);
    const legend = ["ready", "more_looks", "not_yet"].map((verdict) => el("li", {}, reading(verdict)));
    return el(
      "figure",
      {},
      el("figcaption", {}, el("strong", {}, title), el("span", { class: "figure-note" }, "Chance of meeting every standard as tried; a ring and a line show from where it moved.")),
      el("ul", { class: "legend" }, legend),
      el("div", { class: "chart chart-people", "aria-hidden": "true" }, el("ol", { class: "chart-labels", "data-ruled": "2" }, order.map((index) => el("li", {}, header.people[index].name))), field, el("p", { class: "x-title" }, "chance of meeting every standard")),
    );
  };

  const make = async (root, data) => {
    const { header } = data;
    const own = policySettings(header);
    const before = readAll(data, own);
    const id = root.id;
    let settings = structuredClone(own);
    const resets = [];

    const told = el("p", { class: "tool-told", role: "status", "aria-live": "polite" });
    const counts = el("div");
    const movers = el("div");
    const everybody = el("div");
    const drawing = el("div");
    const fixed = header.people.map((_, index) => index).sort((a, b) => (before[b].chance ?? -1) - (before[a].chance ?? -1) || a - b);
    const lines = el("pre", { class: "tool-lines", tabindex: "0", "aria-label": "The settings as lines of policy.toml" });
    const everybodyPart = el("details", { class: "exact" }, el("summary", {}, "Everybody, with the chance before and after"), everybody);
    const linesPart = el("details", { class: "exact" }, el("summary", {}, "These settings as lines of policy.toml"), lines);
    let waiting = false;
    const refresh = () => {
      if (waiting) return;
      waiting = true;
      requestAnimationFrame(() => {
        waiting = false;
        show();
      });
    };

    const row = (index, after) => {
      const person = header.people[index];
      return [
        named(person),
        reading(before[index].verdict),
        reading(after[index].verdict),
        percent(before[index].chance),
        percent(after[index].chance),
      ];
    };
    const marks = (index, after) => ({ "data-umpire": header.people[index].id, "data-before": before[index].verdict, "data-after": after[index].verdict, "data-chance": String(after[index].chance) });
    const columns = [["Umpire", "text"], ["By the policy", "text"], ["As tried", "text"], ["Chance by the policy", "num"], ["Chance as tried", "num"]];
    const listed = (name, caption, chosen, after) =>
      [
        table(`${id}-${name}`, caption, columns, chosen.slice(0, MOST_ROWS).map((index) => row(index, after)), chosen.map((index) => marks(index, after))),
        chosen.length > MOST_ROWS ? el("p", { class: "nothing" }, `The first ${MOST_ROWS} of ${chosen.length}.`) : null,
      ].filter(Boolean);

    const show = () => {
      const after = readAll(data, settings);
      const [was, is] = [tally(before), tally(after)];
      const moved = header.people.map((_, index) => index).filter((index) => before[index].verdict !== after[index].verdict);
      const order = ["ready", "more_looks", "not_yet"];
      moved.sort((a, b) => order.indexOf(after[a].verdict) - order.indexOf(after[b].verdict) || (after[b].chance ?? 0) - (after[a].chance ?? 0));
      const same = JSON.stringify(settings) === JSON.stringify(own);
      told.textContent = same
        ? `The policy's own settings: ${is.ready} of ${header.people.length} ready for ${header.title}.`
        : `${is.ready} of ${header.people.length} ready for ${header.title}${is.ready === was.ready ? ", as by the policy" : ` instead of ${was.ready}`}: ` +
          (moved.length === 0 ? "nobody reads otherwise." : moved.length === 1 ? "one umpire reads otherwise." : `${moved.length} umpires read otherwise.`);
      counts.replaceChildren(
        table(
          `${id}-counts`,
          `How many read how, of ${header.people.length}`,
          [["Reading", "text"], ["By the policy", "num"], ["As tried", "num"], ["Change", "num"]],
          order.map((verdict) => [reading(verdict), String(was[verdict]), String(is[verdict]), signed(is[verdict] - was[verdict])]),
          order.map((verdict) => ({ "data-verdict": verdict, "data-before": was[verdict], "data-after": is[verdict] })),
        ),
      );
      movers.replaceChildren(
        ...(moved.length
          ? listed("movers", "Who reads otherwise", moved, after)
          : [el("p", { class: "nothing" }, same ? "Move a slider: who reads otherwise is named here." : "No reading changes, though chances may.")]),
      );
      if (header.people.length <= SMALL) {
        const ahead = after.filter((one) => one.verdict === "ready").length;
        const sentence = same ? `${ahead} of ${after.length} are past the line of ready by the policy.` : `${ahead} of ${after.length} would be past the line of ready, with the evidence asked for.`;
        drawing.replaceChildren(chances(header, settings, fixed, before, after, sentence));
      }
      if (everybodyPart.open) {
        const all = header.people.map((_, index) => index).sort((a, b) => (after[b].chance ?? -1) - (after[a].chance ?? -1));
        everybody.replaceChildren(...listed("everybody", `Everybody judged for ${header.title}`, all, after));
      }
      if (linesPart.open) lines.textContent = policyLines(header, settings);
    };
    everybodyPart.addEventListener("toggle", show);
    linesPart.addEventListener("toggle", show);

    const cutRows = header.areas.map((area) => cutRow(id, header, area, own, () => settings, refresh, resets));
    const riskRows = Object.entries(RISKS).map(([name, title]) => {
      const values = [...new Set([...Array(51).keys()].map((k) => k / 100).concat(own.risks[name]))].sort((a, b) => a - b);
      const made = slider(`${id}-risk-${name}`, title, values, values.indexOf(own.risks[name]), 0, values.length - 1, (value) => percent(value, Number.isInteger(Math.round(1e6 * value) / 1e4) ? 0 : 1), (place) => {
        settings.risks[name] = values[place];
        refresh();
      });
      resets.push(() => made.set(values.indexOf(own.risks[name])));
      return el("div", { class: "tool-row" }, el("label", { for: `${id}-risk-${name}`, class: "tool-name" }, title), made.parts, el("span", { class: "tool-own" }, `policy ${percent(own.risks[name], 0)}`));
    });
    const number = (group, name, title, blank) => {
      const field = el("input", { type: "number", id: `${id}-${group}-${name}`, min: 0, max: 99999, step: 1, inputmode: "numeric", value: own[group][name] ?? "", placeholder: blank });
      field.addEventListener("input", () => {
        const value = Number.parseInt(field.value, 10);
        if (Number.isInteger(value) && value >= 0) settings[group][name] = value;
        else if (blank) delete settings[group][name];
        else settings[group][name] = own[group][name];
        refresh();
      });
      resets.push(() => (field.value = own[group][name] ?? ""));
      return el("div", { class: "tool-number" }, el("label", { for: `${id}-${group}-${name}` }, title), field);
    };
    const shiftAll = (by) => {
      for (const one of cutRows) one.shift(by);
      refresh();
    };
    const controls = el(
      "form",
      { class: "tool-controls", "aria-label": `Settings to try for ${header.title}`, onsubmit: (event) => event.preventDefault() },
      el("fieldset", {}, el("legend", {}, "Cuts on the adjusted rate"), cutRows.map((one) => one.node),
        el("div", { class: "tool-buttons" },
          el("button", { type: "button", onclick: () => shiftAll(-1) }, "Every cut a step lower"),
          el("button", { type: "button", onclick: () => shiftAll(1) }, "Every cut a step higher"))),
      el("fieldset", {}, el("legend", {}, "Risks accepted"), riskRows),
      el("fieldset", {}, el("legend", {}, "Least evidence"), el("div", { class: "tool-numbers" }, Object.entries(EVIDENCE).map(([name, title]) => number("evidence", name, title, "")))),
      el("details", { class: "exact" }, el("summary", {}, "Misrulings allowed"),
        el("fieldset", {}, el("legend", {}, "At most so many that cost a … (blank: no limit)"), el("div", { class: "tool-numbers" }, Object.entries(header.limitWords).map(([name, title]) => number("limits", name, title, "no limit"))))),
      el("div", { class: "tool-buttons" }, el("button", { type: "button", class: "tool-reset", onclick: () => {
        settings = structuredClone(own);
        for (const reset of resets) reset();
        refresh();
      } }, "Back to the policy")),
    );
    const results = el("div", { class: "tool-results" }, counts, movers, drawing, everybodyPart, linesPart);
    root.replaceChildren(el("div", { class: "tool-trial" }, told, controls, results));
    if (header.draws < header.of) {
      root.append(
        el("p", { class: "nothing" }, `So many umpires are judged for ${header.title} that only the first ${header.draws} of ${header.of} draws are here: chances may differ by a few points from those on other pages. The command platework score --what-if uses all that are kept.`),
      );
    }
    show();
  };

  const cutRow = (id, header, area, own, settings, refresh, resets) => {
    const centre = own.cuts[area.id] ? area.stops[own.cuts[area.id] - 1] : null;
    const near = area.stops.map((stop, place) => [stop, place]).filter(([stop]) => centre === null || Math.abs(stop - centre) <= REACH + 1e-9);
    const at = own.cuts[area.id] ? own.cuts[area.id] - 1 : area.stops.indexOf(0.5);
    const box = el("input", { type: "checkbox", id: `${id}-on-${area.id}`, checked: own.cuts[area.id] > 0, "aria-label": `${area.title}: a standard` });
    const made = slider(`${id}-cut-${area.id}`, area.title, area.stops, at, near[0][1], near[near.length - 1][1], (value) => percent(value), (place) => {
      box.checked = true;
      settings().cuts[area.id] = place + 1;
      node.classList.remove("tool-off");
      refresh();
    });
    box.addEventListener("change", () => {
      settings().cuts[area.id] = box.checked ? Number(made.field.value) + 1 : 0;
      node.classList.toggle("tool-off", !box.checked);
      refresh();
    });
    const said = area.policy === null ? "policy: none" : `policy ${percent(area.policy)}`;
    const node = el("div", { class: own.cuts[area.id] ? "tool-row" : "tool-row tool-off" }, el("span", { class: "tool-name" }, box, el("label", { for: `${id}-cut-${area.id}` }, area.title)), made.parts, el("span", { class: "tool-own" }, area.drawn ? said : `${said}; nothing seen`));
    resets.push(() => {
      box.checked = own.cuts[area.id] > 0;
      made.set(at);
      node.classList.toggle("tool-off", !box.checked);
    });
    return {
      node,
      shift: (by) => {
        if (!box.checked) return;
        made.set(Number(made.field.value) + by);
        settings().cuts[area.id] = Number(made.field.value) + 1;
      },
    };
  };

  const policyLines = (header, settings) => {
    const lines = ["[[levels]]", `id = ${JSON.stringify(header.level)}`, `title = ${JSON.stringify(header.title)}`];
    lines.push(`risk_ready = ${settings.risks.ready}`, `risk_not_yet = ${settings.risks.not_yet}`, "", "[levels.standards]");
    for (const area of header.areas) if (settings.cuts[area.id]) lines.push(`${area.id} = ${area.stops[settings.cuts[area.id] - 1]}`);
    lines.push("", "[levels.evidence]");
    for (const name of Object.keys(EVIDENCE)) lines.push(`${name} = ${settings.evidence[name]}`);
    const limits = Object.entries(settings.limits);
    if (limits.length) lines.push("", "[levels.disqualifying]", ...limits.map(([name, limit]) => `${name} = ${limit}`));
    return lines.join("\n");
  };

  start("trial", make);
})();
