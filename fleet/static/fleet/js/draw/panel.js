// Beside the map: the form of what is chosen, the list of everything, what is wrong. All texts go through textContent.
(() => {
  "use strict";
  const Draw = ((window.Rootround ||= {}).Draw ||= {});
  const el = (tag, attributes = {}, ...children) => {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (name === "text") made.textContent = value;
      else if (name === "on") for (const [event, act] of Object.entries(value)) made.addEventListener(event, act);
      else if (value === true) made.setAttribute(name, "");
      else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
    }
    made.append(...children.filter((child) => child !== null && child !== undefined));
    return made;
  };
  Draw.el = el;
  const GROUPS = [["zone", "Zones"], ["structure", "Structures"], ["controller", "Controllers"], ["sensor", "Sensors"], ["valve_box", "Valve boxes"], ["wire", "Wires"], ["sprinkler", "Sprinklers"], ["water_meter", "Water meters"], ["shutoff", "Shutoffs"], ["backflow_preventer", "Backflow preventers"]];

  Draw.panel = (holder, config, store, ground, page) => {
    const number = (value, digits) => (Math.round(value * 10 ** digits) / 10 ** digits).toLocaleString("en", { maximumFractionDigits: digits }).replaceAll(",", "\u2009");
    const areaWords = (m2) => `${number(m2 * config.units.area.factor, m2 * config.units.area.factor < 100 ? 1 : 0)} ${config.units.area.unit}`;
    const lengthWords = (m) => `${number(m * config.units.length.factor, 1)} ${config.units.length.unit}`;
    const measure = (t) => {
      if (!t.geo || t.geo.type === "point") return "";
      const parts = t.geo.parts.map((part) => part.map((ring) => ring.map(ground.xy)));
      return t.geo.type === "area" ? areaWords(Draw.area(parts)) : lengthWords(Draw.length(parts));
    };

    const shown = (field, value) => (value === null || value === undefined || value === "" ? "" : field.factor && typeof Number(value) === "number" && !Number.isNaN(Number(value)) ? String(Number((Number(value) * field.factor).toFixed(Math.max(field.digits, 2)))) : String(value));
    const told = (field, text) => {
      const clean = text.trim();
      if (clean === "") return field.type === "text" || field.type === "long" || field.type === "choice" ? "" : null;
      if (field.type === "truth") return clean === "true";
      if (["number", "whole"].includes(field.type) && Number.isFinite(Number(clean))) return field.factor ? Number((Number(clean) / field.factor).toPrecision(8)) : Number(clean);
      return clean;
    };

    // What stands in for an empty value: by head or plant, in the reader's units.
    const assumed = (t, field) => {
      for (const [by, tables] of Object.entries(config.assumed)) {
        const value = t.kind === "zone" && tables[field.name]?.[t.fields[by]];
        if (value !== undefined && value !== false) return `${number(value * (field.factor || 1), field.factor ? Math.max(field.digits, 0) : 2)}${field.unit ? ` ${field.unit}` : ""}`;
      }
      return "";
    };

    const options = (t, field) => {
      if (field.type === "controller") return [...store.state.values()].filter((x) => x.kind === "controller").map((x) => [x.fields.controller, x.fields.controller]);
      if (field.type === "zone") return [["", "choose a zone"], ...[...store.state.values()].filter((x) => x.kind === "zone").map((x) => [x.id, Draw.nameOf(x)])];
      if (field.type === "truth") return [["true", "yes"], ["false", "no"]];
      return field.options;
    };

    const input = (t, field, id) => {
      const value = t.fields[field.name], isFixed = field.fixed && !t.id.startsWith("new-");
      const common = { id, name: field.name, required: field.required, "aria-describedby": `${id}-h` };
      if (["choice", "controller", "zone", "truth"].includes(field.type)) {
        const list = options(t, field), now = value === null || value === undefined ? "" : String(value);
        const all = list.some(([v]) => v === now) ? list : [[now, now || "choose"], ...list];
        return el("select", common, ...all.map(([v, word]) => el("option", { value: v, selected: v === now, text: word })));
      }
      if (field.type === "long") return el("textarea", { ...common, rows: 3, text: value ?? "" });
      const types = { day: "date", clock: "time", tel: "tel", email: "email" };
      const made = el("input", { ...common, type: types[field.type] || "text", inputmode: field.type === "whole" ? "numeric" : field.type === "number" ? "decimal" : null, readonly: isFixed, autocomplete: "off" });
      made.value = shown(field, value);
      const guess = assumed(t, field);
      if (guess && made.value === "") made.placeholder = guess;
      return made;
    };

    const fieldRow = (t, field, errors) => {
      const id = `f-${field.name}`, box = input(t, field, id);
      const marks = (t.fields.assumed || "").split(" ");
      const isMarked = t.kind === "controller" && marks.includes(field.name) && !(t.given || []).includes(field.name);
      const isGuess = assumed(t, field) && (t.fields[field.name] ?? "") === "";
      const error = errors.find((e) => e.field === field.name);
      const set = (value, given) => store.commit(`${field.label} of ${Draw.nameOf(t)}`, (next) => {
        const old = next.get(t.id), fields = { ...old.fields, [field.name]: value };
        next.set(t.id, { ...old, fields, given: given ? [...(old.given || []), field.name] : old.given });
        // A sensor goes with the zone in which it stands.
        if (t.kind === "zone" && ["station", "controller"].includes(field.name)) for (const s of [...next.values()].filter((x) => x.kind === "sensor" && x.fields.controller === old.fields.controller && Draw.same(x.fields.station, old.fields.station))) next.set(s.id, { ...s, fields: { ...s.fields, [field.name]: value } });
      });
      box.addEventListener("change", () => set(told(field, box.value), true));
      const withUnit = field.unit && box.tagName === "INPUT" ? el("span", { class: "with-unit" }, box, el("span", { text: field.unit })) : box;
      const hint = isGuess ? `${assumed(t, field)} until it is measured` : field.hint;
      return el("div", { class: `field${error ? " bad" : ""}` },
        el("label", { for: id, text: field.label }),
        withUnit,
        el("span", { class: "hint", id: `${id}-h` }, ...(isMarked || isGuess ? [el("b", { class: "assumed", text: "assumed " })] : []), hint, ...(isMarked ? [el("button", { type: "button", class: "btn tiny", text: "It is so", "aria-label": `${field.label}: it is so`, on: { click: () => set(t.fields[field.name], true) } })] : [])),
        error ? el("span", { class: "err", role: "alert", text: error.reason }) : null);
    };

    const form = (t, errors) => {
      const rows = config.forms[t.kind].filter((field) => field.name !== "area_m2" || t.geo?.type !== "area").map((field) => fieldRow(t, field, errors));
      const size = measure(t);
      const general = errors.filter((e) => !config.forms[t.kind].some((field) => field.name === e.field));
      const acts = [];
      if (t.kind === "site" && t.geo?.type !== "area") acts.push(el("p", { class: "note", text: "The lot is a point so far. “Lot” draws its edge." }));
      const title = t.kind === "site" ? "Site and lot" : Draw.nameOf(t);
      return el("section", { class: "sec", "aria-labelledby": "hform" },
        el("div", { class: "head" }, el("h2", { id: "hform", text: title }), size ? el("span", { class: "note", id: "area-live", text: size }) : null),
        ...general.map((e) => el("p", { class: "msg act", role: "alert", text: e.reason })), ...acts,
        el("div", { class: "drawform" }, ...rows),
        t.kind !== "site" ? el("p", { class: "acts" }, el("button", { type: "button", class: "btn risk", text: "Remove", on: { click: () => page.remove(t.id) } }), el("button", { type: "button", class: "btn plain", text: "Close", on: { click: () => page.choose(null) } })) : null);
    };

    const list = (problems) => {
      const wrong = new Set(problems.map((p) => p.id)), all = [...store.state.values()];
      const hasMany = all.filter((t) => t.kind === "controller").length > 1;
      const row = (t) => el("li", {}, el("button", { type: "button", class: "pickthing", on: { click: () => page.choose(t.id, false, true) } }, el("span", { text: `${t.kind === "zone" && hasMany ? `${t.fields.controller}/` : ""}${Draw.nameOf(t)}` }), el("span", { class: "small", text: [measure(t), wrong.has(t.id) ? "look" : "", t.geo || t.kind === "site" ? "" : "not drawn"].filter(Boolean).join(" · ") })));
      const order = (a, b) => String(a.fields.controller).localeCompare(String(b.fields.controller)) || Number(a.fields.station) - Number(b.fields.station);
      const groups = GROUPS.map(([kind, word]) => [kind, word, all.filter((t) => t.kind === kind)]).filter(([, , things]) => things.length);
      return el("section", { class: "sec", "aria-labelledby": "hall" },
        el("div", { class: "head" }, el("h2", { id: "hall", text: "Everything here" })),
        ...(groups.length ? groups.map(([kind, word, things]) => el("details", { open: kind === "zone" }, el("summary", { text: `${word} ${things.length}` }), el("ul", { class: "things" }, ...things.sort(order).map(row)))) : [el("p", { class: "note", text: "Nothing is drawn yet. Choose Zone, then put its corners on the map." })]));
    };

    const problemList = (seen, refused) => {
      const problems = seen.filter((p) => !refused.some((r) => r.id === p.id && r.field === p.field)); // told once
      if (!problems.length && !refused.length) return null;
      const row = (p) => el("li", { class: refused.includes(p) || p.refuses ? "bad" : "" }, el("button", { type: "button", class: "linkish", text: store.state.has(p.id) ? Draw.nameOf(store.state.get(p.id)) : "a thing that is gone", on: { click: () => page.choose(p.id, false, true) } }), ` ${p.field && p.field !== "geometry" ? `${p.field.replaceAll("_", " ")}: ` : ""}${p.reason}`);
      return el("section", { class: "sec problems", "aria-labelledby": "hprob" }, el("div", { class: "head" }, el("h2", { id: "hprob", text: refused.length ? "Not saved yet" : problems.some((p) => p.refuses) ? "To be put right before saving" : "Worth a look" })), el("ul", {}, ...refused.map(row), ...problems.map(row)));
    };

    return {
      measure, areaWords, lengthWords,
      render({ chosen, problems, refused, conflict }) {
        const active = document.activeElement, name = holder.contains(active) ? active.name : "";
        const site = [...store.state.values()].find((t) => t.kind === "site");
        const t = store.state.get(chosen);
        const errors = refused.filter((e) => e.id === t?.id);
        const facts = t?.kind === "site" ? null : el("p", {}, el("button", { type: "button", class: "btn", id: "sitefacts", text: "Facts of the site, access, visit hours", on: { click: () => page.choose(site.id, true) } }));
        holder.replaceChildren(...[conflict, problemList(problems, refused), t ? form(t, errors) : null, facts, list(problems)].filter(Boolean));
        if (name) holder.querySelector(`[name="${CSS.escape(name)}"]`)?.focus({ preventScroll: true });
      },
      focusForm() { holder.querySelector(".drawform input:not([readonly]), .drawform select")?.focus({ preventScroll: false }); },
    };
  };
})();
