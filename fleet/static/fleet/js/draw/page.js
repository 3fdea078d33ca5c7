// The page "Draw": joins map, tools, panel, keys, saving, and what to do when another saved first.
(() => {
  "use strict";
  const Draw = ((window.Rootround ||= {}).Draw ||= {});
  const STEP_M = 0.1, WIDE_STEP_M = 1;
  const ARROWS = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };
  const POINT_TOOLS = { lot: "the lot", zone: "the zone", structure: "the structure", wall: "the wall", wire: "the wire", cut: "the cut", hole: "the hole" };

  const start = async () => {
    const config = JSON.parse(document.getElementById("draw-config").textContent);
    const { el } = Draw;
    const store = Draw.store(config.drawing);
    const first = [...store.state.values()].find((t) => t.geo)?.geo.parts[0][0][0] || config.place;
    const ground = Draw.ground(...(first[0] === null ? [0, 0] : first));
    const holder = document.getElementById("draw-map");
    const map = L.map(holder, { zoomControl: false, attributionControl: false, keyboard: false, maxZoom: 24, zoomSnap: 0.25, doubleClickZoom: true });
    map.setView([ground.degrees([0, 0])[1], ground.degrees([0, 0])[0]], 19);
    L.control.scale({ position: "bottomright", metric: !config.units.isUs, imperial: config.units.isUs }).addTo(map);
    const status = document.getElementById("draw-status"), bar = document.getElementById("draw-bar"), toolbar = document.getElementById("draw-tool");
    const snapBox = document.getElementById("draw-snap"), saveButton = document.getElementById("draw-save");
    let problems = [], refused = [], conflict = null, isSaving = false, tools = null;

    const echo = document.getElementById("draw-say"); // on a phone the first line is out of sight while one draws
    const say = (text, isBad = false) => { for (const line of [status, echo]) { line.textContent = text; line.classList.toggle("bad", isBad); } };
    const view = Draw.view(map, store, ground, {
      snaps: () => snapBox.checked,
      isDrawing: () => Boolean(tools?.tool),
      choose: (id) => page.choose(id, false, false),
      pause: () => {},
      live: (geo) => {
        const words = panel.measure({ geo }), line = document.getElementById("area-live");
        if (line && words) line.textContent = words;
        if (words) echo.textContent = words;
      },
      cornerChosen: () => { holder.focus({ preventScroll: true }); say("Corner chosen: arrow keys move it by 10 cm, with Shift by 1 m; Delete takes it out."); },
    });

    const refresh = () => {
      panel.render({ chosen: view.chosen, problems, refused, conflict });
      const edits = store.edits().length;
      saveButton.disabled = isSaving || !edits;
      saveButton.setAttribute("aria-busy", String(isSaving));
      saveButton.textContent = edits ? `Save ${edits} change${edits > 1 ? "s" : ""}` : "Saved";
      for (const button of bar.querySelectorAll("[data-do]")) {
        if (button.dataset.do === "undo") button.disabled = !store.canUndo;
        if (button.dataset.do === "redo") button.disabled = !store.canRedo;
        if (["cut", "hole"].includes(button.dataset.do)) button.disabled = store.state.get(view.chosen)?.geo?.type !== "area" || store.state.get(view.chosen)?.kind === "site";
      }
    };
    const page = {
      say,
      choose(id, withForm = false, withMap = false) {
        view.choose(id);
        refresh();
        const t = store.state.get(id);
        if (withForm && t) panel.focusForm();
        if (withMap && t?.geo) { const places = t.geo.parts.flat(2).map(([x, y]) => [y, x]); const box = L.latLngBounds(places); if (!map.getBounds().contains(box)) map.panTo(box.getCenter()); }
        if (t && !withForm && !tools.tool) say(`${Draw.nameOf(t)}${panel.measure(t) ? `, ${panel.measure(t)}` : ""} is chosen.`);
      },
      remove(id) {
        const t = store.state.get(id);
        store.commit(`removing ${Draw.nameOf(t)}`, (next) => { next.delete(id); for (const s of [...next.values()]) if (s.kind === "sprinkler" && s.fields.zone === id) next.delete(s.id); });
        page.choose(null);
        say(`${Draw.nameOf(t)} is removed. Undo brings it back.`);
      },
      toolChanged(tool, points, size) {
        toolbar.hidden = !tool;
        for (const button of bar.querySelectorAll("[data-do]")) if (button.hasAttribute("aria-pressed")) button.setAttribute("aria-pressed", String(tool?.name === button.dataset.do));
        if (!tool) return;
        const isPoint = tool.shape === "point";
        for (const [act, isShown] of [["finish", !isPoint], ["back", !isPoint && points.length > 0]]) toolbar.querySelector(`[data-tool="${act}"]`).hidden = !isShown;
        toolbar.querySelector('[data-tool="put"]').textContent = isPoint ? "Put it at the cross" : "Put a corner at the cross";
        const words = isPoint ? `Click where the ${tool.name.replaceAll("_", " ")} is.` : `${points.length} corner${points.length === 1 ? "" : "s"} of ${POINT_TOOLS[tool.name]}${size === null ? "" : `, ${tool.shape === "area" ? panel.areaWords(size) : panel.lengthWords(size)}`}. ${tool.shape === "area" ? "Click the first corner or press Enter to close." : "Double click or Enter ends it."}`;
        say(words);
      },
    };
    const panel = Draw.panel(document.getElementById("draw-panel"), config, store, ground, page);
    tools = Draw.tools(map, store, view, ground, page);

    store.onChange((what) => {
      problems = Draw.problems(store.state, ground);
      if (!store.state.has(view.chosen) && view.chosen) view.choose(null); else view.render();
      const t = store.state.get(view.chosen);
      refresh();
      say(`${what[0].toUpperCase()}${what.slice(1)}.${t && panel.measure(t) ? ` ${Draw.nameOf(t)}: ${panel.measure(t)}.` : ""}`);
    });

    const resolve = (fresh, keepMine) => { conflict = null; refused = []; view.showTheirs([]); store.rebase(fresh, keepMine); document.getElementById("draw-panel").scrollIntoView({ block: "nearest" }); };
    const met = (answer) => {
      const theirs = store.read(answer.drawing), mine = store.edits();
      const theirEdits = store.editsBetween(store.base, theirs);
      view.showTheirs(theirEdits.map((e) => theirs.get(e.id)).filter(Boolean));
      const words = (value) => (value === null || value === undefined || value === "" ? "none" : String(value));
      const both = mine.flatMap((edit) => {
        const other = theirEdits.find((e) => e.id === edit.id), t = store.state.get(edit.id) || store.base.get(edit.id);
        if (!other) return [];
        if (edit.do === "remove" || other.do === "remove") return [[Draw.nameOf(t), "", other.do === "remove" ? "removed" : "changed", edit.do === "remove" ? "removed" : "changed"]];
        const rows = Object.keys(edit.fields || {}).filter((name) => other.fields && name in other.fields && !Draw.same(other.fields[name], edit.fields[name])).map((name) => [Draw.nameOf(t), name.replaceAll("_", " "), words(other.fields[name]), words(edit.fields[name])]);
        return "geometry" in edit && "geometry" in other ? [...rows, [Draw.nameOf(t), "shape", "dashed on the map", "as drawn"]] : rows;
      });
      const cell = (tag, text) => el(tag, { text, scope: tag === "th" ? "col" : null });
      conflict = el("section", { class: "sec conflict", role: "alert", "aria-labelledby": "hconf", tabindex: "-1" },
        el("div", { class: "head" }, el("h2", { id: "hconf", text: "Somebody saved this site while you were drawing" })),
        el("p", { text: "Nothing of yours is lost and nothing is saved yet. Since you opened the page:" }),
        el("ul", { class: "since" }, ...(answer.since.length ? answer.since.map((c) => el("li", {}, el("b", { text: c.by }), ` ${c.at}: ${c.words}`)) : [el("li", { text: "The book was changed by an import or a visit." })])),
        both.length ? el("table", { class: "tbl one" }, el("caption", { text: "You both changed" }), el("thead", {}, el("tr", {}, ...["What", "Field", "Theirs", "Yours"].map((w) => cell("th", w)))), el("tbody", {}, ...both.map((row) => el("tr", {}, ...row.map((w) => cell("td", w)))))) : el("p", { class: "note", text: "You changed other things than they did." }),
        el("p", { class: "acts" }, el("button", { type: "button", class: "btn main", text: "Lay mine over theirs", on: { click: () => resolve(answer.drawing, true) } }), el("button", { type: "button", class: "btn", text: "Take theirs, throw mine away", on: { click: () => resolve(answer.drawing, false) } })));
      refresh();
      conflict.focus();
      say("Not saved: somebody saved this site first.", true);
    };

    const save = async () => {
      const edits = store.edits();
      if (!edits.length || isSaving) return;
      isSaving = true;
      refused = [];
      refresh();
      say("Saving.");
      try {
        const answer = await fetch(config.save, { method: "POST", credentials: "same-origin", headers: { "Content-Type": "application/json", "X-CSRFToken": config.token, Accept: "application/json" }, body: JSON.stringify({ version: store.version, edits }) });
        const told = answer.headers.get("Content-Type")?.includes("json") ? await answer.json() : {};
        isSaving = false;
        if (answer.ok) {
          const chosen = told.ids[view.chosen] || view.chosen;
          conflict = null;
          store.saved(told.drawing, told.ids);
          page.choose(chosen);
          say(`Saved: ${told.changes} change${told.changes === 1 ? "" : "s"} in the history.${told.warnings.length ? ` Worth a look: ${told.warnings.map((w) => `${store.state.has(w.id) ? Draw.nameOf(store.state.get(w.id)) : ""} ${w.reason}`).join("; ")}.` : ""}`);
        } else if (answer.status === 409) met(told);
        else if (answer.status === 422) { refused = told.problems; const id = refused[0]?.id; if (store.state.has(id)) view.choose(id); refresh(); say(`Not saved: ${refused.length} thing${refused.length === 1 ? "" : "s"} cannot stand. Nothing was written.`, true); }
        else say(answer.status === 403 ? "Not saved: you are signed out or may not edit. Your drawing is still here; sign in again in another tab, then save." : told.error || `Not saved: the server answered ${answer.status}. Your drawing is still here.`, true);
      } catch {
        isSaving = false;
        say("Not saved: no answer from the server. Your drawing is still here; try again.", true);
      }
      refresh();
    };

    const move = ([dx, dy], metres) => {
      const t = store.state.get(view.chosen);
      const shift = (p) => { const [x, y] = ground.xy(p); return ground.degrees([x + dx * metres, y + dy * metres]); };
      if (t?.geo && view.corner) {
        const [p, r, i] = view.corner;
        view.put("moving a corner", t.id, view.withCorner(t.geo, view.corner, shift(t.geo.parts[p][r][i])), `corner ${t.id} ${view.corner.join()}`);
      } else if (t?.geo && t.kind !== "site" && (t.geo.type === "point" || metres)) {
        view.put(`moving ${Draw.nameOf(t)}`, t.id, { ...t.geo, parts: t.geo.parts.map((part) => part.map((path) => path.map(shift))) }, `move ${t.id}`);
      } else map.panBy([dx * 60, -dy * 60], { animate: false });
    };
    const stepCorner = (by) => {
      const t = store.state.get(view.chosen);
      if (!t?.geo || t.geo.type === "point") return;
      const all = t.geo.parts.flatMap((part, p) => part.flatMap((path, r) => path.map((_, i) => [p, r, i])));
      const at = view.corner ? all.findIndex((c) => c.join() === view.corner.join()) : by > 0 ? -1 : 0;
      const next = (at + by + all.length) % all.length;
      view.setCorner(all[next]);
      say(`Corner ${next + 1} of ${all.length}.`);
    };
    const addCorner = () => {
      const t = store.state.get(view.chosen);
      if (!t?.geo || !view.corner) return;
      const [p, r, i] = view.corner, path = t.geo.parts[p][r], a = path[i], b = path[(i + 1) % path.length];
      if (t.geo.type === "line" && i === path.length - 1) return;
      view.setCorner([p, r, i + 1]);
      view.put("adding a corner", t.id, view.withCorner(t.geo, [p, r, i], [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2], true));
    };
    const deleteCorner = () => {
      const t = store.state.get(view.chosen);
      if (!view.corner) { if (t && t.kind !== "site") page.remove(t.id); return; }
      const [p, r, i] = view.corner, path = t.geo.parts[p][r], least = t.geo.type === "area" ? 3 : 2;
      if (path.length <= least) {
        if (r === 0) { say(`It needs at least ${least} corners. Remove takes the whole thing away.`, true); return; }
        view.setCorner(null);
        view.put("filling a hole", t.id, { ...t.geo, parts: t.geo.parts.map((part, k) => (k === p ? part.filter((_, m) => m !== r) : part)) });
        return;
      }
      view.setCorner([p, r, Math.max(0, i - 1)]);
      view.put("taking a corner out", t.id, { ...t.geo, parts: t.geo.parts.map((part, k) => (k !== p ? part : part.map((old, m) => (m !== r ? old : old.filter((_, n) => n !== i))))) });
    };

    const onMapKey = (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const acts = {
        Enter: () => (tools.tool ? tools.finish() : stepCorner(1)), Escape: () => { if (tools.tool) tools.leave(); else if (view.corner) view.setCorner(null); else page.choose(null); },
        " ": () => tools.tool && tools.placeAtCross(), Backspace: () => (tools.tool ? tools.back() : deleteCorner()), Delete: deleteCorner, Insert: addCorner,
        n: () => stepCorner(1), p: () => stepCorner(-1), i: addCorner, "+": () => map.zoomIn(), "=": () => map.zoomIn(), "-": () => map.zoomOut(),
      };
      if (ARROWS[event.key]) { event.preventDefault(); if (tools.tool) map.panBy([ARROWS[event.key][0] * 40, -ARROWS[event.key][1] * 40], { animate: false }); else move(ARROWS[event.key], event.shiftKey ? WIDE_STEP_M : STEP_M); } else if (acts[event.key]) { event.preventDefault(); acts[event.key](); }
    };
    holder.addEventListener("keydown", onMapKey);
    document.addEventListener("keydown", (event) => {
      const isText = event.target.closest("input:not([type=checkbox]), textarea");
      if (!(event.ctrlKey || event.metaKey) || (isText && isText.value !== isText.defaultValue)) return;
      const key = event.key.toLowerCase();
      if (key === "z" && !event.shiftKey) { event.preventDefault(); store.undo(); } else if (key === "y" || (key === "z" && event.shiftKey)) { event.preventDefault(); store.redo(); } else if (key === "s") { event.preventDefault(); save(); }
    });
    bar.addEventListener("click", (event) => {
      const name = event.target.closest("[data-do]")?.dataset.do;
      if (!name) return;
      if (name === "undo") store.undo();
      else if (name === "redo") store.redo();
      else if (tools.tool?.name === name) tools.leave();
      else { tools.begin(name); holder.focus({ preventScroll: true }); bar.querySelector("details")?.removeAttribute("open"); }
    });
    toolbar.addEventListener("click", (event) => {
      const act = event.target.closest("[data-tool]")?.dataset.tool;
      if (act === "put") tools.placeAtCross();
      if (act === "finish") tools.finish();
      if (act === "back") tools.back();
      if (act === "leave") tools.leave();
    });
    document.querySelector(".drawbox").addEventListener("click", (event) => {
      const act = event.target.closest("[data-act]")?.dataset.act;
      if (act === "map-in") map.zoomIn();
      if (act === "map-out") map.zoomOut();
    });
    saveButton.addEventListener("click", save);
    addEventListener("beforeunload", (event) => { if (store.edits().length) event.preventDefault(); });

    const bounds = view.bounds();
    if (bounds) map.fitBounds(bounds, { padding: [24, 24], maxZoom: 21 });
    problems = Draw.problems(store.state, ground);
    view.choose(config.pick || null);
    refresh();
    Draw.draft(store, config, document.getElementById("draw-draft"));
    say(store.state.size > 1 ? "Choose a thing on the map or in the list, or something to draw." : "Nothing is drawn yet. Begin with the lot or a zone.");
    try {
      const answer = await fetch(config.ground, { headers: { Accept: "application/json" }, credentials: "same-origin" });
      if (answer.ok) window.Rootround.drawGround(map, await answer.json());
    } catch { /* the drawing stands without the streets around it */ }
    window.Rootround.drawing = { map, store, view, ground };
    holder.dataset.ready = "yes";
  };
  document.addEventListener("DOMContentLoaded", start);
})();
