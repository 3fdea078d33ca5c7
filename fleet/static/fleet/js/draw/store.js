// The drawing on the page: what stands in the book (base), what it is now (state), undo and redo, and the edits between.
(() => {
  "use strict";
  const Draw = ((window.Rootround ||= {}).Draw ||= {});

  const TYPES = { Point: "point", LineString: "line", MultiLineString: "line", Polygon: "area", MultiPolygon: "area" };
  const open = (ring) => ring.slice(0, -1).map((p) => [p[0], p[1]]);
  const plain = (line) => line.map((p) => [p[0], p[1]]);
  const fromGeoJson = (g) => {
    if (!g) return null;
    const c = g.coordinates, type = TYPES[g.type];
    if (g.type === "Point") return { type, parts: [[[[c[0], c[1]]]]] };
    if (g.type === "LineString") return { type, parts: [[plain(c)]] };
    if (g.type === "MultiLineString") return { type, parts: c.map((line) => [plain(line)]) };
    return { type, parts: g.type === "Polygon" ? [c.map(open)] : c.map((part) => part.map(open)) };
  };
  const round = ([lon, lat]) => [Number(lon.toFixed(8)), Number(lat.toFixed(8))];
  const toGeoJson = (geo) => {
    if (!geo) return null;
    const shut = (ring) => [...ring, ring[0]].map(round);
    if (geo.type === "point") return { type: "Point", coordinates: round(geo.parts[0][0][0]) };
    if (geo.type === "line") return geo.parts.length === 1 ? { type: "LineString", coordinates: geo.parts[0][0].map(round) } : { type: "MultiLineString", coordinates: geo.parts.map((part) => part[0].map(round)) };
    const parts = geo.parts.map((part) => part.map(shut));
    return parts.length === 1 ? { type: "Polygon", coordinates: parts[0] } : { type: "MultiPolygon", coordinates: parts };
  };

  const read = (drawing) => new Map(drawing.things.map((t) => [t.id, { id: t.id, kind: t.kind, fields: t.fields, geo: fromGeoJson(t.geometry) }]));
  const same = (a, b) => (a ?? "") === (b ?? "") || String(a ?? "") === String(b ?? "");
  const sameGeo = (a, b) => a === b || JSON.stringify(toGeoJson(a)) === JSON.stringify(toGeoJson(b));

  // What the book would have to change to become the state.
  const editsBetween = (base, state) => {
    const edits = [];
    for (const [id, t] of state) {
      const old = base.get(id);
      if (old === t) continue;
      const names = Object.keys(t.fields).filter((name) => name !== "assumed" && (!old || !same(old.fields[name], t.fields[name]) || (t.given || []).includes(name)));
      const fields = Object.fromEntries(names.filter((name) => old || (t.fields[name] ?? "") !== "").map((name) => [name, t.fields[name] ?? ""]));
      if (!old) edits.push({ id, kind: t.kind, do: "add", fields, geometry: toGeoJson(t.geo) });
      else {
        const edit = { id, kind: t.kind, do: "change" };
        if (names.length) edit.fields = fields;
        if (!sameGeo(old.geo, t.geo)) edit.geometry = toGeoJson(t.geo);
        if (edit.fields || "geometry" in edit) edits.push(edit);
      }
    }
    for (const [id, t] of base) if (!state.has(id)) edits.push({ id, kind: t.kind, do: "remove" });
    return edits;
  };

  // My edits on another base. A thing that the other removed and I changed comes back as a new one: nothing is lost.
  const layOver = (edits, mine, theirs) => {
    const state = new Map(theirs);
    for (const edit of edits) {
      const there = state.get(edit.id);
      if (edit.do === "remove") state.delete(edit.id);
      else if (!there) {
        const id = edit.do === "add" ? edit.id : `new-back-${edit.id}`;
        state.set(id, { ...mine.get(edit.id), id });
      } else {
        const fields = { ...there.fields, ...edit.fields };
        state.set(edit.id, { ...there, fields, given: mine.get(edit.id).given, geo: "geometry" in edit ? mine.get(edit.id).geo : there.geo });
      }
    }
    return state;
  };

  Draw.store = (drawing) => {
    let base = read(drawing), version = drawing.version, state = base, last = { tag: "", at: 0 }, count = 0;
    let undo = [], redo = [];
    const listeners = [];
    const tell = (what) => listeners.forEach((listen) => listen(what));
    return {
      get state() { return state; },
      get base() { return base; },
      get version() { return version; },
      get canUndo() { return undo.length > 0; },
      get canRedo() { return redo.length > 0; },
      get undoLabel() { return undo.at(-1)?.label || ""; },
      onChange: (listen) => listeners.push(listen),
      newId: () => `new-${Date.now().toString(36)}-${(count += 1)}`,
      edits: () => editsBetween(base, state),
      // Small steps with one tag that follow each other at once (arrow keys) are one step of undo.
      commit(label, change, tag = "") {
        const next = new Map(state);
        change(next);
        const goesOn = tag && tag === last.tag && Date.now() - last.at < 1200;
        if (!goesOn) undo.push({ label, state });
        last = { tag, at: Date.now() };
        redo = [];
        state = next;
        tell(label);
      },
      undo() {
        const step = undo.pop();
        if (!step) return;
        redo.push({ label: step.label, state });
        state = step.state;
        last.tag = "";
        tell(`Undone: ${step.label}`);
      },
      redo() {
        const step = redo.pop();
        if (!step) return;
        undo.push({ label: step.label, state });
        state = step.state;
        last.tag = "";
        tell(`Redone: ${step.label}`);
      },
      saved(fresh, ids) {
        const now = read(fresh), sent = state;
        const moved = (map) => new Map([...map].map(([id, t]) => {
          const real = ids[id] || id;
          if (t === sent.get(id) && now.has(real)) return [real, now.get(real)];
          const zone = ids[t.fields.zone];
          return [real, { ...t, id: real, fields: zone ? { ...t.fields, zone } : t.fields }];
        }));
        undo = undo.map((step) => ({ ...step, state: moved(step.state) }));
        redo = [];
        base = now;
        version = fresh.version;
        state = now;
        tell("Saved");
      },
      // Another saved first: theirs is the base now. `mine` keeps my changes on top; else they are one undo away.
      rebase(fresh, keepMine) {
        const theirs = read(fresh), laid = layOver(editsBetween(base, state), state, theirs);
        base = theirs;
        version = fresh.version;
        undo = [];
        redo = [];
        state = laid;
        if (!keepMine) { undo.push({ label: "throwing my changes away", state: laid }); state = theirs; }
        tell(keepMine ? "Your changes lie on top of theirs" : "Theirs is shown; undo brings your changes back");
      },
      read,
      editsBetween,
      layOver,
    };
  };
  Draw.same = same;
})();
