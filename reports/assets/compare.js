// Two umpires of one level side by side. Who is ahead is counted from everybody's place in the same joint draws.
"use strict";

(() => {
  const { load, start, el, svg, reading, percent, range, named, table, NOTHING } = self.plateworkTools;
  const ROW = 34;
  const MOST_MISRULINGS = 12;
  const MANY = 60; // people from which a list of choices has a search beside it

  // The places of one person in one area, or nothing where he was not seen in it.
  const placesOf = ({ header, body }, areaId, key) => {
    let from = 0;
    for (const area of header.areas) {
      for (const person of header.people) {
        if (!(area.id in person.linked)) continue;
        const size = area.draws * area.bytes;
        if (area.id === areaId && person.key === key) return { area, from, body };
        from += size;
      }
    }
    return null;
  };

  const placeAt = ({ area, from, body }, k) => (area.bytes === 1 ? body[from + k] : body[from + 2 * k] + 256 * body[from + 2 * k + 1]);

  // The share of draws in which the first is above the second, and the second above the first.
  const ahead = (data, areaId, one, other) => {
    const [a, b] = [placesOf(data, areaId, one.key), placesOf(data, areaId, other.key)];
    if (!a || !b || one.linked[areaId] !== other.linked[areaId]) return null;
    let [first, second] = [0, 0];
    for (let k = 0; k < a.area.draws; k++) {
      const [x, y] = [placeAt(a, k), placeAt(b, k)];
      if (x < y) first += 1;
      else if (y < x) second += 1;
    }
    return { first: first / a.area.draws, second: second / a.area.draws };
  };

  const sentence = (data, one, other) => {
    const sure = data.header.certainty;
    const chance = ahead(data, "overall", one, other);
    if (chance === null) return "No evaluator links these two, directly or through others: nothing tells the stronger umpire from the more lenient evaluator, so they are not compared.";
    const said = (ahead_, behind, share) => `${ahead_.name} is ahead of ${behind.name}: the chance is ${percent(share)}.`;
    if (chance.first >= sure) return said(one, other, chance.first);
    if (chance.second >= sure) return said(other, one, chance.second);
    return `The evidence does not tell them apart with ${percent(sure, 0)} sureness. The chance that ${one.name} is ahead of ${other.name} is ${percent(chance.first)}.`;
  };

  // What the figure shows, in a sentence: in which areas the one is surely ahead.
  const areaSentence = (data, one, other, areas) => {
    const sure = data.header.certainty;
    const found = areas.filter((area) => area !== "overall").map((area) => [area, ahead(data, area, one, other)]).filter((pair) => pair[1] !== null);
    const words = (who, side) => {
      const named_ = found.filter((pair) => pair[1][side] >= sure).map((pair) => data.header.titles[pair[0]]);
      return named_.length ? `${who.name} is surely ahead in ${named_.join(", ")}` : null;
    };
    const told = [words(one, "first"), words(other, "second")].filter(Boolean);
    return told.length ? `${told.join("; ")}; elsewhere their ranges overlap too far to tell.` : "In no single area does the evidence tell them apart.";
  };

  const figure = (data, one, other, areas) => {
    const values = areas.flatMap((area) => [one, other].flatMap((who) => [...(who.rates[area] ?? []).slice(0, 3), who.standards[area]?.[0]])).filter((value) => value !== null && value !== undefined);
    const low = Math.max(0, Math.floor(10 * Math.min(...values, 0.95)) / 10);
    const x = (value) => `${((100 * (value - low)) / (1 - low)).toFixed(2)}%`;
    const height = areas.length * ROW;
    const field = svg("svg", { class: "chart-field", width: "100%", height: height + 22, focusable: "false" });
    const step = 1 - low > 0.5 ? 0.2 : 0.1;
    for (let k = Math.round((1 - low) / step); k >= 0; k--) {
      const at = 1 - k * step;
      if (at < low - 1e-9) continue;
      const anchor = at - low < 1e-6 ? "start" : k === 0 ? "end" : "middle";
      field.append(svg("line", { class: "tick", x1: x(at), x2: x(at), y1: 0, y2: height }), svg("text", { class: "tick-text", x: x(at), y: height + 15, "text-anchor": anchor }, percent(at, 0)));
    }
    const mark = (who, area, y, role) => {
      const [rate, from, to] = who.rates[area] ?? [];
      if (rate === undefined || rate === null) return;
      field.append(svg("line", { class: `range ${role}`, x1: x(from), x2: x(to), y1: y, y2: y }));
      const place = svg("svg", { x: x(rate), y, overflow: "visible", class: `mark ${role} ${role === "accent" ? "circle" : "diamond-open"}` });
      place.append(role === "accent" ? svg("circle", { r: 5 }) : svg("path", { d: "M0-6 6 0 0 6-6 0Z" }));
      field.append(place);
    };
    areas.forEach((area, place) => {
      const y = place * ROW;
      const cut = one.standards[area]?.[0] ?? other.standards[area]?.[0];
      field.append(svg("line", { class: "row-rule", x1: 0, x2: "100%", y1: y + ROW, y2: y + ROW }));
      if (cut !== undefined && cut >= low) field.append(svg("line", { class: "cut", x1: x(cut), x2: x(cut), y1: y + 3, y2: y + ROW - 3 }));
      mark(one, area, y + ROW * 0.32, "accent");
      mark(other, area, y + ROW * 0.7, "ink");
    });
    const legend = (who, role) => {
      const icon = svg("svg", { width: 14, height: 14, viewBox: "-8 -8 16 16", "aria-hidden": "true", focusable: "false", class: "mark-icon" });
      const inner = svg("svg", { overflow: "visible", class: `mark ${role} ${role === "accent" ? "circle" : "diamond-open"}` });
      inner.append(role === "accent" ? svg("circle", { r: 5 }) : svg("path", { d: "M0-6 6 0 0 6-6 0Z" }));
      icon.append(inner);
      return el("li", {}, icon, " ", who.name);
    };
    return el(
      "figure",
      {},
      el("figcaption", {}, el("strong", {}, areaSentence(data, one, other, areas)), el("span", { class: "figure-note" }, "Adjusted rates with their intervals; a dotted upright is the cut of the level that they are judged for.")),
      el("ul", { class: "legend" }, legend(one, "accent"), legend(other, "ink")),
      el("div", { class: "chart chart-pair", "aria-hidden": "true" }, el("ol", { class: "chart-labels" }, areas.map((area) => el("li", {}, data.header.titles[area]))), field, el("p", { class: "x-title" }, "share of graded calls, checks or answers that are right")),
    );
  };

  const rates = (data, one, other, areas) =>
    table(
      "compare-rates",
      "Rates and standards",
      [["Area", "text"], [`Chance that ${one.name} is ahead`, "num"], [one.name, "num"], ["Interval", "num"], ["Meets the cut", "num"], [other.name, "num"], ["Interval", "num"], ["Meets the cut", "num"], ["Cut", "num"]],
      areas.map((area) => {
        const chance = ahead(data, area, one, other);
        const cells = (who) => {
          const [rate, low, high, calls] = who.rates[area] ?? [null, null, null, 0];
          const met = who.standards[area]?.[1];
          return calls ? [percent(rate), range(low, high), percent(met, 0)] : ["nothing seen", NOTHING, NOTHING];
        };
        const cuts = [...new Set([one, other].map((who) => who.standards[area]?.[0]).filter((cut) => cut !== undefined))];
        return [data.header.titles[area], chance === null ? "not compared" : percent(chance.first), ...cells(one), ...cells(other), cuts.length ? cuts.map((cut) => percent(cut)).join(" / ") : NOTHING];
      }),
      areas.map((area) => ({ "data-area": area, "data-chance": String(ahead(data, area, one, other)?.first ?? "") })),
    );

  const standing = (data, one, other) => {
    const line = (title, say) => [title, say(one), say(other)];
    const rows = [
      line("Place in the ranking", (who) => `${who.place[0]} (may be ${who.place[1]} to ${who.place[2]})`),
      line("Judged for", (who) => who.reading?.target ?? NOTHING),
      line("Reading", (who) => (who.reading ? reading(who.reading.verdict) : NOTHING)),
      line("Chance of all standards", (who) => percent(who.reading?.chance ?? null)),
      line("Calls graded", (who) => (who.reading ? named({ name: who.reading.calls.toLocaleString("en"), href: who.callsHref }) : NOTHING)),
      line("Games", (who) => String(who.reading?.games ?? NOTHING)),
      line("Evaluators", (who) => String(who.reading?.evaluators ?? NOTHING)),
    ];
    return table("compare-standing", "Reading and evidence", [["What", "text"], [one.name, "text"], [other.name, "text"]], rows);
  };

  const evaluators = (data, one, other) => {
    const of = new Map(one.evaluators.map(([which, calls, games]) => [which, [calls, games]]));
    const both = other.evaluators.filter(([which]) => of.has(which));
    if (!both.length) {
      return el("p", { class: "nothing" }, "No evaluator saw both: they are compared through evaluators who saw others beside each.");
    }
    const looks = ([calls, games]) => `${calls} in ${games} ${games === 1 ? "game" : "games"}`;
    return table(
      "compare-evaluators",
      both.length === 1 ? "One evaluator saw both" : `${both.length} evaluators saw both`,
      [["Evaluator", "text"], [`Calls of ${one.name}`, "text"], [`Calls of ${other.name}`, "text"]],
      both.map(([which, calls, games]) => [named(data.header.evaluators[which]), looks(of.get(which)), looks([calls, games])]),
    );
  };

  const misrulings = (data, one, other) => {
    const times = new Map();
    [one, other].forEach((who, side) => {
      for (const [which, count] of who.misrulings) {
        if (!times.has(which)) times.set(which, [0, 0]);
        times.get(which)[side] = count;
      }
    });
    const rows = [...times].sort((a, b) => b[1][0] + b[1][1] - a[1][0] - a[1][1] || a[0] - b[0]);
    if (!rows.length) return el("p", { class: "nothing" }, "Neither made a misruling that was seen.");
    const shown = rows.slice(0, MOST_MISRULINGS);
    return [
      table(
        "compare-misrulings",
        "Misrulings, the most frequent of both first: times, not rates, for they were not seen equally often",
        [["Misruling", "long"], ["What it cost", "text"], [one.name, "num"], [other.name, "num"]],
        shown.map(([which, [a, b]]) => [named(data.header.misrulings[which]), data.header.costs[data.header.misrulings[which].cost] ?? NOTHING, String(a), String(b)]),
      ),
      rows.length > shown.length ? el("p", { class: "nothing" }, `The first ${shown.length} of ${rows.length}; each umpire's page has all.`) : null,
    ];
  };

  const show = (place, data, one, other) => {
    const parts = [el("p", { class: "tool-told", role: "status", id: "compare-told", "data-chance": String(ahead(data, "overall", one, other)?.first ?? "") }, sentence(data, one, other))];
    if (one.group === other.group) {
      const areas = data.header.order.filter((area) => one.rates[area]?.[3] || other.rates[area]?.[3]);
      parts.push(figure(data, one, other, areas), rates(data, one, other, areas), standing(data, one, other), evaluators(data, one, other), misrulings(data, one, other));
      const { draws } = data.header.areas[0];
      parts.push(el("p", { class: "nothing" }, `From ${draws === data.header.of ? "all" : "the first"} ${draws.toLocaleString("en")} joint draws${draws === data.header.of ? "" : ` of ${data.header.of.toLocaleString("en")}`}.`));
    }
    place.replaceChildren(...parts.flat().filter(Boolean));
  };

  const wanted = () => {
    const given = new URLSearchParams(location.hash.slice(1));
    return [given.get("a"), given.get("b")];
  };

  const options = (people, chosen) => {
    const groups = [...new Set(people.map((one) => one.group))];
    const made = (one) => el("option", { value: one.key, selected: one.key === chosen }, one.name);
    if (groups.length < 2) return people.map(made);
    return groups.map((group) => el("optgroup", { label: `Linked group ${group}` }, people.filter((one) => one.group === group).map(made)));
  };

  const make = async (root, { header: index }) => {
    const drawn = index.levels.filter((level) => level.source);
    if (!drawn.length) {
      root.replaceChildren(el("p", { class: "caution" }, "These levels have too many umpires for a page to hold their draws: only the neighbours below can be shown."));
      return;
    }
    const level = el("select", { id: "compare-level" }, drawn.map((one) => el("option", { value: one.source }, one.title)));
    const first = el("select", { id: "compare-first" });
    const second = el("select", { id: "compare-second" });
    const result = el("div", { class: "tool-results" });
    const field = (label, input) => el("div", { class: "tool-field" }, el("label", { for: input.id }, label), input);
    const search = (id) => el("input", { type: "search", id, autocomplete: "off" });
    const [firstFind, secondFind] = [search("compare-first-find"), search("compare-second-find")];
    const finds = [field("Name of the first has", firstFind), field("Name of the second has", secondFind)];
    const nobody = el("p", { class: "nothing", role: "status" });
    const swap = el("button", { type: "button" }, "Swap");
    root.replaceChildren(
      el("form", { class: "tool-choice", "aria-label": "Umpires to compare", onsubmit: (event) => event.preventDefault() }, field("Level", level), finds[0], field("First", first), finds[1], field("Second", second), swap),
      nobody,
      result,
    );
    let data = null;

    const draw = () => {
      const [one, other] = [first, second].map((select) => data.header.people.find((person) => person.key === select.value));
      show(result, data, one, other);
    };
    const has = (person, find) => person.name.toLowerCase().includes(find.value.trim().toLowerCase());
    // Whoever is chosen stands in his list, whatever is sought.
    const among = (people, chosen, find) => people.filter((person) => person === chosen || has(person, find));
    const fill = async (a, b) => {
      data = await load(level.value);
      const { people } = data.header;
      for (const one of finds) one.hidden = people.length < MANY;
      const one = people.find((person) => person.key === a) ?? people[0];
      const rest = people.filter((person) => person.key !== one.key);
      const other = rest.find((person) => person.key === b) ?? rest.find((person) => person.group === one.group) ?? rest[0];
      first.replaceChildren(...options(among(people, one, firstFind), one.key));
      second.replaceChildren(...options(among(rest, other, secondFind), other.key));
      draw();
    };
    // The first whose name has the words is chosen; `fixed` is the other of the two.
    const seek = (find, select, fixed) => {
      const found = data.header.people.filter((person) => person.key !== fixed.value && has(person, find));
      nobody.textContent = found.length ? "" : "Nobody else of this level has a name with these words.";
      return (found.find((person) => person.key === select.value) ?? found[0])?.key ?? select.value;
    };
    const remember = () => history.replaceState(null, "", `#a=${encodeURIComponent(first.value)}&b=${encodeURIComponent(second.value)}`);
    level.addEventListener("change", () => {
      firstFind.value = secondFind.value = nobody.textContent = "";
      fill(null, null).then(remember);
    });
    firstFind.addEventListener("input", () => fill(seek(firstFind, first, second), second.value).then(remember));
    secondFind.addEventListener("input", () => fill(first.value, seek(secondFind, second, first)).then(remember));
    first.addEventListener("change", () => fill(first.value, second.value).then(remember));
    second.addEventListener("change", () => {
      draw();
      remember();
    });
    swap.addEventListener("click", () => {
      [firstFind.value, secondFind.value] = [secondFind.value, firstFind.value];
      fill(second.value, first.value).then(remember);
    });

    const follow = async (scroll) => {
      const [a, b] = wanted();
      const home = index.levels[index.home[a] ?? index.home[b]];
      if (home?.source) level.value = home.source;
      else if (home) {
        result.replaceChildren(el("p", { class: "caution" }, `${home.title} has too many umpires for a page to hold their draws: only the neighbours below can be shown.`));
        return;
      }
      await fill(a, b);
      if (scroll && home) root.scrollIntoView({ block: "start" });
    };
    addEventListener("hashchange", () => follow(true));
    await follow(true);
  };

  start("compare", make);
})();
